"""Both sides of a requirement and what is to spare, as people read them."""

from ..meaning.display import rounded, with_unit
from ..meaning.units import TEMPERATURE_POINT, Unit
from ..network.graph import Requirement
from ..solving.answering import Margin

MOST_DIGITS = 7


def sides(left: float, right: float, unit: Unit) -> tuple[str, str]:
    """Write two values in base units with as many digits as it takes to tell them apart."""
    for digits in range(4, MOST_DIGITS + 1):
        texts = with_unit(left, unit, digits), with_unit(right, unit, digits)
        if texts[0] != texts[1]:
            break
    return texts


def spare(share: float, margin: Margin, requirement: Requirement) -> str:
    """Write a margin: in kelvins between temperatures, else as a share of the larger side."""
    if requirement.dimension == TEMPERATURE_POINT:
        return f"{rounded(abs(margin.right - margin.left), 3)} K"
    return f"{rounded(100 * share, 3)} %"
