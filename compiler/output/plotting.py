"""Scales, ticks, marks and texts of a picture, as plain data for a template.

All places are texts of pixels with one decimal, so that the same data gives the same picture everywhere.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

MARKS = ("circle", "square", "up", "diamond", "down", "bar")
LONGEST_LABEL = 26

Data = dict[str, Any]


@dataclass(frozen=True, slots=True)
class Scale:
    """From numbers to pixels, straight."""

    low: float
    high: float
    start: float
    end: float

    def __call__(self, value: float) -> float:
        """Give the pixel of a number."""
        return self.start + (value - self.low) / (self.high - self.low) * (self.end - self.start)

    def back(self, pixel: float) -> float:
        """Give the number at a pixel."""
        return self.low + (pixel - self.start) / (self.end - self.start) * (self.high - self.low)


# ---- scales


def axis(values: Sequence[float]) -> tuple[float, float, list[float]]:
    """Give the ends of an axis and its ticks; zero is on it unless all values are far from it."""
    low, high = min(values, default=0.0), max(values, default=1.0)
    if 0 <= low <= 0.6 * high or 0 < low == high:
        low = 0.0
    if low == high:
        pad = abs(low) / 10 or 1.0
        low, high = low - pad, high + pad
    step = _step(low, high, 5)
    first, last = math.floor(low / step + 1e-9), math.ceil(high / step - 1e-9)
    # Room above for the names of what limits.
    last += last * step < high + 0.15 * (high - low)
    return first * step, last * step, [float(f"{k * step:.12g}") for k in range(first, last + 1)]


def round_values(low: float, high: float, most: int) -> list[float]:
    """Give the round numbers inside a range, as many as fit into so many parts."""
    step = _step(low, high, most)
    first, last = math.ceil(low / step - 1e-9), math.floor(high / step + 1e-9)
    return [float(f"{k * step:.12g}") for k in range(first, last + 1)]


def _step(low: float, high: float, most: int) -> float:
    """Give the least of 1, 2 and 5 times a power of ten that cuts a range into at most so many parts."""
    rough = (high - low) / most
    power = 10.0 ** math.floor(math.log10(rough))
    return float(f"{next(m * power for m in (1, 2, 5, 10) if m * power >= rough * (1 - 1e-9)):.12g}")


# ---- shapes and texts


def px(value: float) -> str:
    """Write a place or a length in pixels."""
    text = f"{value:.1f}"
    return "0.0" if text == "-0.0" else text


def label(x: float, y: float, text: str, kind: str) -> Data:
    """Place a text; ``kind`` names its classes in the template's style."""
    return {"x": px(x), "y": px(y), "text": text, "kind": kind}


def line(x1: float, y1: float, x2: float, y2: float, kind: str = "grid") -> Data:
    """Place a straight line."""
    return {"x1": px(x1), "y1": px(y1), "x2": px(x2), "y2": px(y2), "kind": kind}


def box(left: float, top: float, right: float, bottom: float) -> Data:
    """Place a rectangle."""
    return {"x": px(left), "y": px(top), "width": px(right - left), "height": px(bottom - top)}


def cross(x: float, y: float, title: str) -> Data:
    """Place a cross, for where nothing holds, with what it says when pointed at."""
    a, b, c, d = (px(v) for v in (x - 4, x + 4, y - 4, y + 4))
    return {"d": f"M{a} {c}L{b} {d}M{a} {d}L{b} {c}", "kind": "cross", "title": title}


def mark(shape: str, x: float, y: float, size: float = 4.0) -> str:
    """Give the outline of a mark."""
    r = size
    if shape == "circle":
        a, b, c = px(x - r), px(x + r), px(y)
        return f"M{a} {c}A{r:g} {r:g} 0 1 0 {b} {c}A{r:g} {r:g} 0 1 0 {a} {c}Z"
    corners = {
        "square": ((-0.9, -0.9), (0.9, -0.9), (0.9, 0.9), (-0.9, 0.9)),
        "up": ((0, -1.2), (1.2, 0.9), (-1.2, 0.9)),
        "diamond": ((0, -1.35), (1.35, 0), (0, 1.35), (-1.35, 0)),
        "down": ((0, 1.2), (1.2, -0.9), (-1.2, -0.9)),
        "bar": ((-1.4, -0.5), (1.4, -0.5), (1.4, 0.5), (-1.4, 0.5)),
    }[shape]
    return "M" + "L".join(f"{px(x + dx * r)} {px(y + dy * r)}" for dx, dy in corners) + "Z"


def width_of(text: str) -> float:
    """Guess how wide a small text is; a little too wide is right."""
    return 12 + 6.0 * len(text)


def short(text: str, most: int = LONGEST_LABEL) -> str:
    """Cut a text that is too long for its place."""
    return text if len(text) <= most else f"{text[: most - 1]}…"
