"""What of a formula gets a value beneath it, over the whole library."""

from collections.abc import Iterator

from meltwright.meaning.checking import check_file
from meltwright.meaning.functions import CONSTANTS
from meltwright.meaning.loading import library_folder
from meltwright.meaning.model import Model
from meltwright.network.graph import Network
from meltwright.network.lowering import lower_all
from meltwright.solving.problem import Problem
from meltwright.syntax import tree
from meltwright.telling.valued import Point, parts, quoted


def expressions(model: Model) -> Iterator[tree.Expression]:
    for law in model.laws.values():
        yield from (let.expression for let in law.lets)
        yield from (side for r in law.requires for side in (r.comparison.left, r.comparison.right))


def inner(e: tree.Expression) -> Iterator[tree.Expression]:
    """List an expression and all in it, without the bodies of integrals."""
    yield e
    match e:
        case tree.Negation():
            yield from inner(e.operand)
        case tree.Binary():
            yield from (*inner(e.left), *inner(e.right))
        case tree.Call():
            yield from (x for a in e.arguments for x in inner(a))
        case tree.Integral():
            yield from (*inner(e.start), *inner(e.stop))


def of_numbers(e: tree.Expression) -> bool:
    names = [x for x in inner(e) if isinstance(x, tree.Reference | tree.Integral)]
    return all(isinstance(x, tree.Reference) and x.name in CONSTANTS for x in names)


def test_all_but_numbers_and_the_front_of_a_chain_has_a_value() -> None:
    model, _, _ = check_file(library_folder() / "trade.melt")
    assert model is not None
    seen = 0
    for e in expressions(model):
        found = {p.span for p in parts(e)}
        fronts = {
            x.left.span
            for x in inner(e)
            if isinstance(x, tree.Binary)
            and isinstance(x.left, tree.Binary)
            and any({x.operator, x.left.operator} <= set(chain) for chain in ("+-", "*/"))
        }
        for x in inner(e):
            if not of_numbers(x) and x.span not in fronts:
                assert x.span in found
                seen += 1
    assert seen > 500


def networks() -> tuple[Model, list[Network]]:
    model, _, _ = check_file(library_folder() / "demos" / "watch_strap.melt")
    assert model is not None
    asked = [(p, m.text) for p in model.profiles.values() for m in p.machines]
    return model, [n for n in lower_all(model, asked, []) if n is not None]


def test_values_agree_with_the_network() -> None:
    """Derived quantities and sides of requirements at the middle of all lattices are those of the tape."""
    model, found = networks()
    for network in found:
        problem = Problem(network)
        middle = (problem.first + problem.last) // 2
        settings = problem.settings_at(middle[:, None])
        nodes = problem.tape.values(problem.variables(settings, problem.stated[:, None]))
        point = Point(model, network, middle.tolist(), problem.stated)
        for name, node in network.derived.items():
            assert near(point.let(name)[0].value, float(nodes[node].ravel()[0])), name
        for r in network.requirements:
            values = point.requirement(r)
            for side, node in zip(
                (r.comparison.left, r.comparison.right), sorted_sides(r.left, r.right, r.comparison), strict=True
            ):
                if r.origin == "law" and not of_numbers(side):
                    (shown,) = [v for v in values if v.span == side.span]
                    assert near(shown.value, float(nodes[node].ravel()[0])), r.name


def sorted_sides(left: int, right: int, comparison: tree.Comparison) -> tuple[int, int]:
    return (right, left) if comparison.relation in (">", ">=") else (left, right)


def near(one: float, other: float) -> bool:
    return abs(one - other) <= 1e-9 * max(abs(one), abs(other), 1e-12)


def test_a_formula_over_several_lines_loses_the_indent_of_its_statement() -> None:
    model, (network, *_) = networks()
    problem = Problem(network)
    point = Point(model, network, problem.first.tolist(), problem.stated)
    seen = 0
    for let in network.lets.values():
        if let.name in network.derived:
            data = quoted(model, let.span.to(let.expression.span), point.let(let.name))
            first, *rest = data["source"].split("\n")
            assert first.startswith(let.name)
            assert all(line.startswith("  ") and not line.startswith("    " * 4) for line in rest)
            assert all(v["part"] == " ".join(data["source"][v["from"] : v["to"]].split()) for v in data["values"])
            seen += bool(rest)
    assert seen > 3
