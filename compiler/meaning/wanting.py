"""What a want says, as a comparison: a word of a grade stands for the limit of its band."""

from ..syntax import tree
from .model import GradeDecl, Model, WantDecl
from .units import UNITLESS, Unit, from_base


def comparison(model: Model, want: WantDecl) -> tree.Comparison | None:
    """Write a want as a comparison of a derived quantity with a number; None where it asks for nothing."""
    grade = model.grades.get(want.name)
    if grade is not None:
        subject: tree.Expression = tree.Reference(grade.quantity, want.span)
        limit, unit, at_most = _grade_limit(grade, want)
    else:
        merit = model.merits.get(want.name)
        subject = merit.expression if merit else tree.Reference(want.name, want.span)
        limit, unit, at_most = _amount_limit(want)
    if limit is None:
        return None
    number = tree.Number(f"{from_base(limit, unit):.15g}", unit.symbol, want.span)
    return tree.Comparison(subject, "<=" if at_most else ">=", tree.Literal(number, want.span), want.span)


def _amount_limit(want: WantDecl) -> tuple[float | None, Unit, bool]:
    if want.amount is None:
        return None, UNITLESS, False
    return want.amount.stated, want.amount.unit, want.bound == "most"


def _grade_limit(grade: GradeDecl, want: WantDecl) -> tuple[float | None, Unit, bool]:
    """Give the limit of the graded quantity, its unit, and whether it bounds it from above."""
    if want.amount is not None:
        return _amount_limit(want)
    at = [b.name for b in grade.bands].index(want.word)
    # "at most" where less is better, and "at least" where more is, both mean this band or a better one.
    this_or_better = (want.bound == "most") != grade.more_is_better
    if this_or_better:
        band, at_most = grade.bands[at], not grade.more_is_better
    elif at:
        band, at_most = grade.bands[at - 1], grade.more_is_better
    else:
        return None, UNITLESS, False
    return band.limit, band.unit or UNITLESS, at_most
