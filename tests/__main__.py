"""``python -m tests``: format check, lint, types and tests, in that order; stops at the first that fails."""

import subprocess
import sys

STEPS = (
    ("ruff", "format", "--check", "."),
    ("ruff", "check", "."),
    ("mypy",),
    ("pytest", "-n", "auto", *sys.argv[1:]),
)


def main() -> int:
    """Run all steps; gives the exit code of the first that fails."""
    for module, *arguments in STEPS:
        print(f"== {module} {' '.join(arguments)}".rstrip(), flush=True)
        code = subprocess.call([sys.executable, "-m", module, *arguments])
        if code:
            return code
    return 0


if __name__ == "__main__":
    sys.exit(main())
