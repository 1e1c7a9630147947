"""Escape of unsupported filament against column theory and worked examples.

Sources: Euler columns with the textbook's end factors (Timoshenko and Gere); worked examples 3.5 and 3.6 of
Wentzell, Machine Design, as printed in a public transcription; the elastic line, solved by scipy.
"""

import math

import numpy as np
import pytest
from scipy.integrate import solve_ivp
from scipy.optimize import brentq

INCH = 25.4
POUND = 4.4482216152605
PSI = 6894.757293168


@pytest.mark.parametrize(
    ("modulus", "gap", "fixity", "push"),
    [
        (26, 5, 1, 4.726),
        (26, 30, 1, 0.131),
        (26, 30, 0.699, 0.269),
        (26, 30, 0.5, 0.525),
        (2000, 10, 1, 90.88),
        (2000, 10, 0.699, 186.0),
        (2000, 10, 0.5, 363.5),
        (3500, 30, 1, 17.67),
        (3500, 30, 0.699, 36.17),
        (3500, 30, 0.5, 70.68),
    ],
)
def test_slender_filament(derive, modulus, gap, fixity, push):
    """Euler's load of a 1.75 mm rod by the textbook formula; the table is rounded to 3 or 4 figures."""
    values = {
        "modulus": f"{modulus} MPa",
        "gap": f"{gap} mm",
        "end_fixity": str(fixity),
        "diameter": "1.75 mm",
        "crush_strain": "0.25",
    }
    assert derive("stockiness", values) > 2
    assert derive("critical_push", values) == pytest.approx(push, rel=4e-3)


def test_worked_example_of_a_slender_rod(derive):
    """Wentzell, ex. 3.5: steel rod of 5/8 in, 30 in between hinges, yield 42 ksi: 2464.16 lb."""
    values = {
        "modulus": f"{30e6 * PSI} Pa",
        "diameter": f"{5 / 8 * INCH} mm",
        "gap": f"{30 * INCH} mm",
        "end_fixity": "1",
        "crush_strain": str(42e3 / 30e6),
    }
    assert derive("slenderness", values) == pytest.approx(192, rel=1e-4)
    assert derive("critical_push", values) == pytest.approx(2464.16 * POUND, rel=1e-4)


def test_worked_example_of_a_stocky_column(derive):
    """Wentzell, ex. 3.6: slenderness 67.08, yield 36 ksi, 2.26 in2, safety 2: 35 116.5 lb by Johnson."""
    values = {"modulus": f"{30e6 * PSI} Pa", "slenderness": "67.08", "crush_strain": str(36e3 / 30e6)}
    allowed = derive("critical_stress", values) / PSI * 2.26 / 2
    assert allowed == pytest.approx(35116.5, rel=2e-4)


def test_steel_column(derive):
    """Johnson's parabola for E 200 GPa, yield 250 MPa, slenderness 100, computed from the textbook form."""
    values = {"modulus": "200 GPa", "slenderness": "100", "crush_strain": "0.00125"}
    assert derive("critical_stress", values) == pytest.approx(170.84e6, rel=1e-4)


def test_the_two_formulas_meet_smoothly(derive):
    """Where stockiness is 2 both give half the crushing stress, with one slope."""

    def stress(slenderness: float) -> float:
        return derive("critical_stress", {"modulus": "1 MPa", "slenderness": repr(slenderness), "crush_strain": "0.2"})

    meeting = math.pi * math.sqrt(2 / 0.2)
    step = 1e-4 * meeting
    assert stress(meeting) == pytest.approx(0.1e6, rel=1e-9)
    below, above = stress(meeting) - stress(meeting - step), stress(meeting + step) - stress(meeting)
    assert below == pytest.approx(above, rel=1e-3)


HINGED, CLAMPED = (0, 2), (0, 1)
"""Which derivatives of the elastic line are zero at an end."""


@pytest.mark.parametrize(
    ("start", "end", "low", "high", "fixity"),
    [(HINGED, HINGED, 2, 4, 1), (CLAMPED, HINGED, 4, 5, 0.699156), (CLAMPED, CLAMPED, 5, 6.6, 0.5)],
)
def test_ends_against_the_elastic_line(derive, start, end, low, high, fixity):
    """The least load whose elastic line, w'''' + root^2 w'' = 0 over a length of 1, keeps both of its ends."""
    free = [k for k in range(4) if k not in start]

    def determinant(root: float) -> float:
        columns = []
        for k in free:
            line = solve_ivp(lambda _, w: [w[1], w[2], w[3], -(root**2) * w[2]], (0, 1), np.eye(4)[k], rtol=1e-10)
            columns.append(line.y[list(end), -1])
        return float(np.linalg.det(np.column_stack(columns)))

    root = brentq(determinant, low, high)
    assert root == pytest.approx(math.pi / fixity, rel=1e-4)
    values = {"modulus": "10 MPa", "gap": "20 mm", "end_fixity": str(fixity), "diameter": "2 mm", "crush_strain": "0.3"}
    load = root**2 * 10e6 * math.pi / 64 * 0.002**4 / 0.02**2
    assert derive("critical_push", values) == pytest.approx(load, rel=2e-4)
