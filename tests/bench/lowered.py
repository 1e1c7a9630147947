"""Ipopt by way of casadi: the network lowered to expressions, so that it has exact derivatives."""

import contextlib
import math
from typing import Any

import numpy as np

from .question import Question
from .rivals import Found, starts

STARTS = 8
MOST_STEPS = 500


def ipopt(question: Question, count: int = STARTS) -> Found:
    """Interior points from a few starts, then rounding with a small repair; min and max are left as they are."""
    import casadi

    scaled = casadi.SX.sym("u", question.free.size)
    slacks, merit = expressions(question, scaled)
    size = max(abs(question.best), 1e-300)
    program = {"x": scaled, "f": -merit / size, "g": slacks}
    quiet = {"print_level": 0, "max_iter": MOST_STEPS, "sb": "yes", "max_cpu_time": 30.0}
    solver = casadi.nlpsol("peer", "ipopt", program, {"print_time": False, "ipopt": quiet, "show_eval_warnings": False})
    ends, evaluations = [], 0
    for row in starts(question, count):
        guess = (row - question.first) / (question.last - question.first)
        # A start outside the domain of some operation ends with an error; the others go on.
        with contextlib.suppress(RuntimeError):
            result = solver(x0=guess, lbx=0.0, ubx=1.0, lbg=0.0, ubg=math.inf)
            found = np.asarray(result["x"], dtype=float).ravel()
            evaluations += int(solver.stats().get("n_call_nlp_g", 0))
            if np.isfinite(found).all():
                ends.append(question.first + (question.last - question.first) * np.clip(found, 0.0, 1.0))
    question.evaluations += evaluations
    return Found(question.rounded(ends), f"{len(ends)} of {count} starts")


def expressions(question: Question, scaled: Any) -> tuple[Any, Any]:
    """Give slacks and merit as expressions in coordinates from 0 to 1 of the free settings."""
    import casadi

    settings: list[Any] = [float(v[k]) for v, k in zip(question.problem.lattices, question.ours, strict=True)]
    for k, i in enumerate(question.free):
        values = question.problem.lattices[i]
        first, last = (float(values[int(end)]) for end in (question.first[k], question.last[k]))
        settings[i] = first + (last - first) * scaled[k]
    columns = [_lower(question, settings, question.inputs[:, c].tolist()) for c in range(question.inputs.shape[1])]
    slacks = []
    for c, (r, _) in enumerate(question.scenarios):
        requirement, nodes = question.network.requirements[r], columns[question.column[c]]
        left, right = nodes[requirement.left], nodes[requirement.right]
        slacks.append((right - left) / casadi.fmax(casadi.fmax(casadi.fabs(left), casadi.fabs(right)), 1e-300))
    merit = _lower(question, settings, question.problem.stated.tolist())[question.merit_node]
    # What hangs on no free setting is no constraint to a solver of this kind.
    return casadi.vertcat(*[s for s in slacks if isinstance(s, casadi.SX) and not s.is_constant()]), merit


def _lower(question: Question, settings: list[Any], inputs: list[float]) -> list[Any]:
    network, found = question.network, []
    variables = {s.node: v for s, v in zip(network.settings, settings, strict=True)}
    variables |= {i.node: v for i, v in zip(network.inputs, inputs, strict=True)}
    for i, node in enumerate(network.nodes):
        if i in variables:
            found.append(variables[i])
        elif node.operator == "constant":
            found.append(node.value)
        else:
            found.append(_apply(node.operator, [found[a] for a in node.arguments]))
    return found


def _apply(operator: str, a: list[Any]) -> Any:
    """Apply an operator of the network to expressions or numbers."""
    import casadi

    if all(isinstance(x, float) for x in a):
        from meltwright.solving.operators import OPERATORS

        return float(np.ravel(OPERATORS[operator].value(*[np.array([x]) for x in a]))[0])
    simple = {
        "neg": lambda: -a[0],
        "add": lambda: a[0] + a[1],
        "sub": lambda: a[0] - a[1],
        "mul": lambda: a[0] * a[1],
        "div": lambda: a[0] / a[1],
        "pow": lambda: a[0] ** a[1],
        "powi": lambda: a[0] ** a[1],
        "min": lambda: casadi.fmin(a[0], a[1]),
        "max": lambda: casadi.fmax(a[0], a[1]),
        "abs": lambda: casadi.fabs(a[0]),
        "expm1_ratio": lambda: casadi.if_else(a[0] == 0, 1.0, casadi.expm1(a[0]) / a[0]),
    }
    return simple[operator]() if operator in simple else getattr(casadi, operator)(a[0])
