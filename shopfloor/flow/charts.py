"""Charts as shapes, for a template to draw: lines over days, bars over days, bars by row. Pure: no Django.

Shapes are in user units of an SVG, y downwards; a unit is about a pixel where it is drawn. Lines are told apart by
their dashes and by their names at their ends, never by colour alone.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

WIDTH, NARROW = 720, 440
LEFT, RIGHT, TOP, BOTTOM = 52, 16, 22, 30
NAMES = 116
"""What the names at the ends of lines need at the right."""
LABEL_GAP = 15
MOST_LABELS = 8
STYLES = 6
"""Different dashes that the style sheet has; more lines begin again."""


@dataclass(frozen=True)
class Text:
    x: float
    y: float
    text: str
    anchor: str = "start"
    css: str = ""


@dataclass(frozen=True)
class Path:
    d: str
    css: str


@dataclass(frozen=True)
class Bar:
    x: float
    y: float
    width: float
    height: float
    css: str = ""


@dataclass(frozen=True)
class Chart:
    """`says` is what a reader who does not see it is told; the table beside it has the numbers."""

    says: str
    height: float
    texts: tuple[Text, ...]
    paths: tuple[Path, ...] = ()
    bars: tuple[Bar, ...] = ()
    width: float = WIDTH


def scale_of(most: float) -> tuple[float, ...]:
    """Values for an axis from 0 on: steps of 1, 2 or 5 times a power of ten, five or fewer; the last holds the most.

    >>> scale_of(7), scale_of(0), scale_of(230)
    ((0.0, 2.0, 4.0, 6.0, 8.0), (0.0, 1.0), (0.0, 50.0, 100.0, 150.0, 200.0, 250.0))
    """
    if most <= 0:
        return (0.0, 1.0)
    power = 10.0 ** math.floor(math.log10(most / 5))
    step = next(size * power for size in (1, 2, 5, 10) if size * power * 5 >= most * (1 - 1e-9))
    return tuple(round(step * one, 10) for one in range(math.ceil(most / step - 1e-9) + 1))


def number(value: float) -> str:
    """For an axis.

    >>> number(2.0), number(0.25), number(12000.0)
    ('2', '0.25', '12,000')
    """
    return f"{value:,.0f}" if value == int(value) else f"{value:g}"


def lines(
    says: str,
    unit: str,
    labels: Sequence[str],
    series: Sequence[tuple[str, Sequence[float | None]]],
    *,
    limit: tuple[str, float] | None = None,
    height: float = 250,
    width: float = WIDTH,
) -> Chart:
    """Lines over days, each with its name at its end.

    unit    of the values, above the axis
    labels  of the days or weeks, one for each value
    series  (name, values), one without a name stays without; None is passed over
    limit   (name, value): a line across
    """
    known = [value for _, values in series for value in values if value is not None]
    has_names = any(name for name, _ in series) or limit
    frame = _Frame(
        unit,
        labels,
        max([*known, limit[1] if limit else 0], default=0),
        width,
        height,
        NAMES if has_names else 0,
    )
    ends: list[tuple[float, float, str]] = []
    for at, (name, values) in enumerate(series):
        frame.paths.append(Path(frame.path(values), f"chart-line chart-line-{at % STYLES}"))
        last = max((day for day, value in enumerate(values) if value is not None), default=None)
        if last is not None and name:
            ends.append((frame.y(values[last]), frame.x(last), name))
    if limit:
        y = frame.y(limit[1])
        frame.paths.append(Path(f"M{LEFT} {y:.1f}H{frame.right:.1f}", "chart-limit"))
        ends.append((y, frame.right, limit[0]))
    lowest = frame.floor
    for y, (x, name) in reversed(spread([y for y, *_ in ends], [tuple(rest) for _, *rest in ends])):
        lowest = min(y, lowest)
        frame.texts.append(Text(round(x + 8, 1), round(lowest + 4, 1), name, css="chart-name"))
        lowest -= LABEL_GAP
    return frame.chart(says)


def bars(
    says: str, unit: str, labels: Sequence[str], values: Sequence[float], *, height: float = 250
) -> Chart:
    """A bar a day or week."""
    frame = _Frame(unit, labels, max(values, default=0), WIDTH, height, 0)
    wide = max(1.0, 0.7 * frame.step)
    for at, value in enumerate(values):
        if value:
            y = frame.y(value)
            frame.bars.append(
                Bar(round(frame.x(at) - wide / 2, 1), round(y, 1), round(wide, 1), round(frame.floor - y, 1))
            )
    return frame.chart(says)


def rows(
    says: str,
    unit: str,
    found: Sequence[tuple[str, Sequence[tuple[float, str]]]],
    *,
    most: float | None = None,
) -> Chart:
    """A bar a row, from left to right, of one part or of several.

    found  (name, parts as (value, css)); the value of all parts stands at the bar's end
    most   what the full width stands for, where that is not the longest bar
    """
    left, right, high = 150, 70, 26
    totals = [sum(value for value, _ in parts) for _, parts in found]
    scale = scale_of(max([most or 0, *totals]))
    wide = (WIDTH - left - right) / scale[-1]
    floor = TOP + high * len(found) + 4
    texts = [Text(left, TOP - 8, unit, css="chart-unit")]
    paths, shapes = [], []
    for value in scale:
        x = round(left + value * wide, 1)
        paths.append(Path(f"M{x} {TOP}V{floor}", "chart-grid"))
        texts.append(Text(x, floor + 16, number(value), "middle", "chart-tick"))
    for at, (name, parts) in enumerate(found):
        y, x = TOP + high * at + 5, float(left)
        texts.append(Text(left - 8, y + 13, shortened(name), "end", "chart-name"))
        for value, css in parts:
            shapes.append(Bar(round(x, 1), y, round(value * wide, 1), high - 9, css))
            x += value * wide
        texts.append(Text(round(x + 6, 1), y + 13, number(round(totals[at], 1)), css="chart-tick"))
    return Chart(says, floor + 24, tuple(texts), tuple(paths), tuple(shapes))


def shortened(name: str, most: int = 19) -> str:
    """A name that has its room; the table beside the chart has it whole.

    >>> shortened("Assemble"), shortened("Leak test under pressure")
    ('Assemble', 'Leak test under pr…')
    """
    return name if len(name) <= most else f"{name[: most - 1]}…"


def spread(places: Sequence[float], names: Sequence, gap: float = LABEL_GAP) -> list[tuple[float, Any]]:
    """Names at their places, moved apart where they would lie on each other, in their order.

    >>> spread([10, 12, 60], ["a", "b", "c"], 15)
    [(3.5, 'a'), (18.5, 'b'), (60.0, 'c')]
    """
    groups: list[list] = []  # [middle, names]
    for place, name in sorted(zip(places, names, strict=True), key=lambda one: one[0]):
        groups.append([float(place), [name]])
        while len(groups) > 1 and _top(groups[-1], gap) < _top(groups[-2], gap) + gap * len(groups[-2][1]):
            middle, own = groups.pop()
            other = groups[-1]
            count = len(own) + len(other[1])
            other[0] = (other[0] * len(other[1]) + middle * len(own)) / count
            other[1] = other[1] + own
    return [(_top(group, gap) + gap * at, name) for group in groups for at, name in enumerate(group[1])]


def _top(group: list, gap: float) -> float:
    return group[0] - gap * (len(group[1]) - 1) / 2


class _Frame:
    """The axes, and where values and days lie in them."""

    def __init__(
        self, unit: str, labels: Sequence[str], most: float, width: float, height: float, names: float
    ):
        self.width, self.height, self.floor = width, height, height - BOTTOM
        self.right = width - RIGHT - names
        self.scale = scale_of(most)
        self.step = (self.right - LEFT) / max(1, len(labels))
        self.paths: list[Path] = []
        self.bars: list[Bar] = []
        self.texts = [Text(LEFT, TOP - 8, unit, css="chart-unit")]
        for value in self.scale:
            y = round(self.y(value), 1)
            self.paths.append(Path(f"M{LEFT} {y}H{self.right:.1f}", "chart-grid"))
            self.texts.append(Text(LEFT - 6, y + 4, number(value), "end", "chart-tick"))
        every = math.ceil(len(labels) / (MOST_LABELS * width / WIDTH))
        for at in range(0, len(labels), max(1, every)):
            self.texts.append(Text(round(self.x(at), 1), self.floor + 18, labels[at], "middle", "chart-tick"))

    def x(self, at: int) -> float:
        return LEFT + (at + 0.5) * self.step

    def y(self, value: float) -> float:
        return self.floor - value / self.scale[-1] * (self.floor - TOP)

    def path(self, values: Sequence[float | None]) -> str:
        """From one known day to the next; a single one is a short stroke."""
        points = [
            f"{self.x(at):.1f} {self.y(value):.1f}" for at, value in enumerate(values) if value is not None
        ]
        return f"M{'L'.join(points)}{'h3' if len(points) == 1 else ''}" if points else ""

    def chart(self, says: str) -> Chart:
        return Chart(says, self.height, tuple(self.texts), tuple(self.paths), tuple(self.bars), self.width)
