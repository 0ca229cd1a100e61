"""What a drawing needs to know of a development: plain numbers, read in one place.

A development is the mapping that `fittings.geometry.development_as_dict` makes, in inches.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from shared.units import fraction_text, plain_number
from shared.words import mark, say

Development = Mapping[str, Any]

KIND_TITLES = {
    "gored_elbow": mark("Gored elbow"),
    "reducer": mark("Reducer"),
    "offset": mark("Offset"),
    "end_cap": mark("End cap"),
    "tee": mark("Tee"),
    "saddle": mark("Saddle"),
    "square_to_round": mark("Square to round"),
    "pipe": mark("Pipe"),
    "conical_tee": mark("Conical tee"),
    "wye": mark("Wye"),
    "reducing_elbow": mark("Reducing elbow"),
}
ROLE_TITLES = {
    "end_gore": mark("End gore"),
    "middle_gore": mark("Middle gore"),
    "center_gore": mark("Center gore"),
    "gore": mark("Gore"),
    "cone": mark("Cone"),
    "collar": mark("Collar"),
    "pipe": mark("Pipe"),
    "run": mark("Run"),
    "main": mark("Main"),
    "branch": mark("Branch"),
    "disc": mark("Disc"),
    "ring": mark("Ring"),
    "transition": mark("Transition"),
}


LATERALS = {"tee": mark("Lateral"), "conical_tee": mark("Conical lateral")}
_EXTRAS = (  # dimensions that are told where they are not zero
    ("offset", mark("offset {size} in")),
    ("roll", mark("rolled {size} in")),
    ("offset_x", mark("offset X {size} in")),
    ("offset_y", mark("offset Y {size} in")),
    ("branch_offset", mark("{size} in off center")),
    ("length", mark("{size} in long")),
    ("depth", mark("{size} in deep")),
)


@dataclass(frozen=True)
class Elbow:
    """A gored elbow in numbers: lengths [in], angles [deg]; `radius` is the duct's inside radius."""

    pieces: int
    angle: float
    centerline_radius: float
    radius: float
    collar_a: float
    collar_b: float

    @property
    def half_angle(self) -> float:
        """Mitre half-angle [rad]."""
        return math.radians(self.angle) / (2 * (self.pieces - 1))


def elbow(development: Development) -> Elbow:
    """The elbow of a `gored_elbow` development."""
    sizes = development["dimensions"]
    segments = development["segments"]
    pieces = int(sizes.get("pieces") or len(segments))
    gore_angle = float(sizes.get("gore_angle") or 2 * sizes["miter_angle"])
    centerline = float(sizes["centerline_radius"])
    throat = float(sizes.get("throat_radius", 2 * centerline - sizes["heel_radius"]))
    radius = centerline - throat
    angle = float(sizes.get("angle") or gore_angle * (pieces - 1))
    bare = Elbow(pieces, angle, centerline, radius, 0.0, 0.0)
    throat_bare = max(centerline - radius - float(development.get("thickness") or 0) / 2, 0)
    throat_bare *= math.tan(bare.half_angle)
    ends = []
    for name, segment in (("collar_a", segments[0]), ("collar_b", segments[-1])):
        collar = sizes.get(name)
        if collar is None and segment.get("throat") is not None:
            collar = max(segment["throat"] - throat_bare, 0)
            collar = collar if collar > 0.01 else 0
        ends.append(float(collar or 0))
    return Elbow(pieces, angle, centerline, radius, *ends)


def kind_title(development: Development) -> str:
    kind = str(development.get("kind", ""))
    return say(KIND_TITLES.get(kind) or kind.replace("_", " ").capitalize())


def role_title(role: str) -> str:
    return say(ROLE_TITLES.get(role) or role.replace("_", " ").capitalize())


def fitting_text(development: Development) -> str:
    """What it is, in words: "Gored elbow 90°, 14 in, 5 pieces, R 21 in"."""
    sizes = development["dimensions"]
    title = kind_title(development)
    kind = development.get("kind")
    if kind == "gored_elbow":
        found = elbow(development)
        return say(
            "{kind} {angle}°, {size} in, {n} pieces, R {radius} in",
            kind=title,
            angle=plain_number(found.angle, 2),
            size=fraction_text(2 * found.radius),
            n=found.pieces,
            radius=fraction_text(found.centerline_radius),
        )

    def size(name: str) -> str:
        return fraction_text(float(sizes[name]))

    angle = float(sizes.get("angle") or 90.0)
    if kind in LATERALS and abs(angle - 90) > 1e-6:
        title = say(LATERALS[kind])
    parts = [title]
    if {"diameter_a", "diameter_b"} <= set(sizes):
        parts.append(say("{size} to {other} in", size=size("diameter_a"), other=size("diameter_b")))
    elif {"width", "height", "diameter"} <= set(sizes):
        box = f"{size('width')} × {size('height')}"
        parts.append(say("{size} to {other} in", size=box, other=size("diameter")))
    elif kind == "saddle":
        parts.append(say("{size} in on {other} in", size=size("branch_diameter"), other=size("diameter")))
    elif kind == "wye":
        branch = size("branch_diameter")
        parts.append(say("{size} in, two branches {branch} in", size=size("diameter"), branch=branch))
    elif {"diameter", "branch_diameter"} <= set(sizes):
        branch = size("branch_diameter")
        parts.append(say("{size} in, branch {branch} in", size=size("diameter"), branch=branch))
    elif "diameter" in sizes:
        parts.append(say("{size} in", size=size("diameter")))
    rest = []
    if kind in ("tee", "conical_tee", "saddle", "wye", "offset", "reducing_elbow") and sizes.get("angle"):
        rest.append(f"{plain_number(angle, 2)}°")
    if kind == "reducing_elbow":
        rest.append(say("{n} pieces", n=plain_number(sizes["pieces"], 0)))
        rest.append(say("R {size} in", size=size("centerline_radius")))
    for name, words in _EXTRAS:
        if sizes.get(name):
            rest.append(say(words, size=size(name)))
    return ", ".join([" ".join(parts), *rest])


def short_text(development: Development) -> str:
    """What it is in the fewest words, for small labels: "14 in 90°, R 21"."""
    if development.get("kind") == "gored_elbow":
        found = elbow(development)
        angle = plain_number(found.angle, 2)
        return f"{fraction_text(2 * found.radius)} in {angle}°, R {fraction_text(found.centerline_radius)}"
    return fitting_text(development).replace(" in", "")


@dataclass(frozen=True)
class PatternGroup:
    """A pattern that several segments share: their positions, and the first of them."""

    pattern: str
    positions: tuple[int, ...]
    segment: Mapping[str, Any]

    @property
    def count(self) -> int:
        return len(self.positions)


def patterns(development: Development) -> list[PatternGroup]:
    """Each different pattern once, in order of first position."""
    groups: dict[str, list] = {}
    for segment in development["segments"]:
        groups.setdefault(segment.get("pattern") or str(segment["position"]), []).append(segment)
    return [
        PatternGroup(key, tuple(segment["position"] for segment in found), found[0])
        for key, found in groups.items()
    ]


def positions_text(positions: tuple[int, ...]) -> str:
    """Runs of positions: (1, 3, 4, 5) is "1, 3–5"; (2, 4, 6) is "2–6 even"."""
    ordered = sorted(positions)
    if len(ordered) > 2 and {b - a for a, b in zip(ordered, ordered[1:], strict=False)} == {2}:
        return f"{ordered[0]}–{ordered[-1]} {'odd' if ordered[0] % 2 else 'even'}"
    runs: list[list[int]] = []
    for position in ordered:
        if runs and position == runs[-1][1] + 1:
            runs[-1][1] = position
        else:
            runs.append([position, position])
    return ", ".join(str(a) if a == b else f"{a}, {b}" if b == a + 1 else f"{a}–{b}" for a, b in runs)


def seam_text(segment: Mapping[str, Any]) -> str:
    """Where the seam of a segment is: throat, heel, side, or degrees round the duct from the throat.

    Empty for what has no seam, and for what is alike all round and so has neither throat nor heel.
    """
    if segment.get("seam_at"):
        return str(segment["seam_at"])
    names = {mark["name"] for mark in segment.get("marks") or ()}
    if "seam_at" in segment and not names & {"throat", "heel"}:
        return ""
    angle = segment.get("start_angle")
    if angle is None:
        return ""
    angle = float(angle) % 360
    for at, word in ((0, "throat"), (180, "heel"), (90, "side"), (270, "side"), (360, "throat")):
        if abs(angle - at) < 0.05:
            return word
    return f"{plain_number(angle, 1)}°"
