"""Suggestions for names that were nearly right, and the fixes that put them in."""

from collections.abc import Callable, Iterable
from typing import Any

from ..text.diagnostic import Fix
from ..text.fixing import write_for
from ..text.joining import listed
from ..text.source import Span

LONGEST_NAME = 64
"""Characters of the longest name that may be declared."""
SHORTEST_SURE = 4
"""Letters from which on a name with one slip is still surely that name."""


def brief(text: str) -> str:
    """Cut a text that is too long for a sentence."""
    return text if len(text) <= LONGEST_NAME else f"{text[: LONGEST_NAME - 3]}..."


def near(name: str, candidates: Iterable[str], otherwise: str = "check the spelling") -> str:
    """Say which known names are close to ``name``, or ``otherwise`` where none is."""
    return _advice(close_to(name, candidates), otherwise)


def _advice(close: list[str], otherwise: str) -> str:
    return f"did you mean {listed(close)}?" if close else otherwise


def close_to(name: str, candidates: Iterable[str]) -> list[str]:
    """List the known names that are close to ``name``, the closest first."""
    from difflib import get_close_matches

    if len(name) > LONGEST_NAME:
        return []
    known = sorted(set(candidates))
    folded = {_folded(k): k for k in known}
    close = [folded[m] for m in get_close_matches(_folded(name), folded, n=3, cutoff=0.7)]
    if not close:
        # The last part of a dotted name is what people remember.
        close = [k for k in known if "." in k and k.rsplit(".", 1)[1] == name.rsplit(".", 1)[-1]][:3]
    return close


def suggest(
    name: str,
    span: Span,
    candidates: Iterable[str],
    otherwise: str = "check the spelling",
    fits: Callable[[str], bool] | None = None,
) -> dict[str, Any]:
    """Give ``near``, as the function of that name does, and the ``fixes`` that write what may have been meant.

    A fix is safe where one candidate alone is as good as written, and ``fits`` the place: the rest of the line.
    """
    known = sorted(set(candidates))
    close = close_to(name, known)
    sure = surely_meant(name, known) if close else ""
    if sure:
        close = [sure] if fits is None or fits(sure) else list(dict.fromkeys([sure, *close]))
    return {"near": _advice(close, otherwise), "fixes": name_fixes(name, span, close, sure, fits)}


def name_fixes(
    name: str, span: Span, close: Iterable[str], sure: str, fits: Callable[[str], bool] | None = None
) -> tuple[Fix, ...]:
    """Give a fix for each name that is close; that for ``sure`` is safe where it ``fits``, and stands first."""
    found = [write_for(span, name, c, c == sure and (fits is None or fits(c))) for c in close]
    return tuple(sorted(found, key=lambda fix: not fix.safe))


def surely_meant(name: str, candidates: Iterable[str]) -> str:
    """Give the one candidate that differs by case, hyphens or one slip; nothing where none or several do."""
    known = list(candidates)
    alike = [c for c in known if _folded(c) == _folded(name)]
    if not alike and len(name) >= SHORTEST_SURE:
        alike = [c for c in known if _one_slip(_folded(name), _folded(c))]
    return alike[0] if len(alike) == 1 else ""


def _folded(name: str) -> str:
    return name.casefold().replace("-", "_")


def _one_slip(a: str, b: str) -> bool:
    """Tell whether one letter is missing, too many or wrong, or two neighbours are swapped. A digit is never a slip."""
    if abs(len(a) - len(b)) > 1:
        return False
    start = _alike(a, b)
    same = _alike(a[start:][::-1], b[start:][::-1])
    left, right = a[start : len(a) - same], b[start : len(b) - same]
    if any(c.isdigit() for c in left + right):
        return False
    return max(len(left), len(right)) == 1 or (len(left) == 2 and left == right[::-1])


def _alike(a: str, b: str) -> int:
    """Count the letters with which both start."""
    return next((i for i, (x, y) in enumerate(zip(a, b, strict=False)) if x != y), min(len(a), len(b)))
