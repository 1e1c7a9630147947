"""Why a setting is not another value: the requirements that break there, and by how much."""

from dataclasses import replace

from ..meaning.display import unit_for
from ..meaning.model import PinDecl
from ..meaning.profiles import index_on_lattice
from ..solving.answering import margins, stated_only
from ..solving.problem import TOLERANCE, Problem
from .formulas import comparison_text, corner_lookup, requirement_text
from .sides import sides, spare
from .solution import Solution


def why_not(solutions: list[Solution], pin: PinDecl) -> str:
    """Say for every machine what a value would break, with the other settings kept."""
    return "\n".join(_one(solution, pin) for solution in solutions)


def _one(solution: Solution, pin: PinDecl) -> str:
    i = solution.setting_index(pin.name)
    index = round(index_on_lattice(solution.variable(i).decl, pin.amount.stated))
    network = solution.network
    chosen, wanted = solution.setting_text(i), solution.setting_text(i, index)
    where = f"{network.profile.name}: {network.material} on {network.machine}"
    lines = [f"{pin.name} = {wanted} instead of {chosen}   ({where})", ""]
    point = solution.answer.point.copy()
    point[i] = index
    moved = replace(solution, answer=replace(solution.answer, point=point))
    active = [m.requirement for m in solution.answer.margins]
    broken = [m for m in margins(_opened(solution, i), point, active) if not m.share >= -2 * TOLERANCE]
    if not broken:
        lines.append(f"  holds too, with the other settings kept; {_otherwise(solution, i)}")
    for margin in broken:
        requirement = network.requirements[margin.requirement]
        left, right = sides(margin.left, margin.right, unit_for(requirement.dimension))
        lines.append(f"  breaks {requirement.name}: {requirement.otherwise or requirement_text(requirement)}")
        lines.append(f"    {requirement_text(requirement)}")
        lines.append(f"    {comparison_text(requirement.comparison, corner_lookup(moved, margin))}")
        lines.append(f"    {left} is not <= {right}, missed by {spare(-margin.share, margin, requirement)}")
        lines.append(f"    {solution.place(requirement.span)}")
    return "\n".join(lines) + "\n"


def _opened(solution: Solution, i: int) -> Problem:
    """Make the problem anew with the whole lattice of one setting, so that what is proved reaches a pinned one too."""
    problem = Problem(solution.network)
    if not solution.answer.robust:
        problem = stated_only(problem)
    problem.first[i], problem.last[i] = 0, solution.variable(i).decl.last
    return problem


def _otherwise(solution: Solution, i: int) -> str:
    variable = solution.variable(i)
    if variable.pin is not None:
        return "the profile fixes another value"
    return f"it would rather be {variable.decl.rather}" if variable.decl.rather else "the preferences chose otherwise"
