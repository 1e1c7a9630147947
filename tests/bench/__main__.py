"""``python -m tests.bench``: where the time goes, how it grows, and how others do. See README.md; never a test."""

import argparse
import json
import sys
from pathlib import Path

from meltwright.meaning.loading import library_folder

from tests.bench.scaling import BUDGET

WHAT = ("shares", "peers", "fleet", "start-up", "parsing", "edit")


def demos() -> list[Path]:
    """List the demonstrations that have a profile."""
    found = sorted((library_folder() / "demos").glob("*.melt"))
    return [d for d in found if "\nprofile " in d.read_text(encoding="utf-8")]


def main(arguments: list[str]) -> None:
    """Measure one thing, or all, of the files named or of the demonstrations."""
    if arguments[:1] == ["fleet-one"]:
        from tests.bench.scaling import measure

        print(json.dumps(measure(int(arguments[1]), *arguments[2:3])))
        return
    if arguments[:1] == ["parsing-one"]:
        from tests.bench.parsing import apart_one

        print(json.dumps(apart_one(arguments[1])))
        return
    what = arguments.pop(0) if arguments and arguments[0] in WHAT else ""
    parser = argparse.ArgumentParser("tests.bench", description=f"First argument: one of {', '.join(WHAT)}, or none.")
    parser.add_argument("files", nargs="*", type=Path, metavar="FILE", help="files instead of the demonstrations")
    parser.add_argument("--most", type=int, default=1000, help="machines of the largest fleet")
    parser.add_argument("--budget", type=float, default=BUDGET, help="seconds that one fleet may take")
    options = parser.parse_args(arguments)
    files = options.files or demos()
    if what in ("", "shares"):
        from tests.bench import shares

        for path in files:
            shares.report(path)
    if what in ("", "peers"):
        from tests.bench import peers

        peers.report(files)
    if what in ("", "fleet"):
        from tests.bench import scaling

        scaling.report(options.most, options.budget)
    if what in ("", "parsing"):
        from tests.bench import parsing

        parsing.report()
    if what in ("", "start-up"):
        from tests.bench import startup

        startup.report(files)
    if what in ("", "edit"):
        from tests.bench import edit

        edit.report()


if __name__ == "__main__":
    main(sys.argv[1:])
