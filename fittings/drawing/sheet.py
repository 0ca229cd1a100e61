"""Flat patterns as parts to cut: each different one once, its plates apart, with its marks and its words."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from fittings.drawing.facts import Development, PatternGroup, patterns, role_title
from fittings.drawing.inside import TextPlace, text_place
from fittings.drawing.pattern import box, group_text, outline_of

Outline = Sequence[Sequence[float]]
Line = tuple[tuple[float, float], ...]
GAP_IN = 1.0
TEXT_IN = 0.5


@dataclass(frozen=True)
class MarkLine:
    """A line to mark on the metal [in]; `angle` of a bend [deg], None for a mark that is only seen."""

    name: str
    line: Line
    angle: float | None = None


@dataclass(frozen=True)
class Part:
    """One outline to cut, the lower left corner of its box where it was placed; all lengths [in].

    group  the pattern that it is, or is a plate of; `plate` counts from 1, 0 for a whole pattern
    """

    group: PatternGroup
    plate: int
    plates: int
    cut: Line
    holes: tuple[Line, ...]
    marks: tuple[MarkLine, ...]
    text: str
    place: TextPlace

    @property
    def box(self) -> tuple[float, float, float, float]:
        return box(self.cut)


def parts(development: Development) -> list[Part]:
    """All parts, each different one once, laid out upwards from the origin."""
    placed: list[Part] = []
    y = 0.0
    for group in patterns(development):
        which = group_text(group.positions, len(development["segments"]))
        for part in _group_parts(development, group, which):
            placed.append(_shifted(part, 0.0, y))
            y += part.box[3] + GAP_IN
    return placed


def parts_of(development: Development, which: int | str) -> list[Part]:
    """The parts of one pattern, side by side from the origin, named by its key: several fittings may share it.

    which   position of a segment from 1, or the key of a pattern
    raises  LookupError where there is none
    """
    for group in patterns(development):
        if which in group.positions or which == group.pattern:
            placed, x = [], 0.0
            for part in _group_parts(development, group, group.pattern):
                placed.append(_shifted(part, x, 0.0))
                x += part.box[2] + GAP_IN
            return placed
    raise LookupError(f"the fitting has no pattern {which}")


def _group_parts(development: Development, group: PatternGroup, which: str) -> Iterator[Part]:
    """Each with the lower left corner of its box at the origin; `which` follows its title in the text."""
    segment = group.segment
    plates = segment.get("plates") or ()
    gauge = f"{development['gauge']} ga" if development.get("gauge") is not None else ""
    name = f"{role_title(segment.get('role', 'segment'))} {which}"
    for number, piece in enumerate(plates, 1) if plates else [(0, segment)]:
        plate = f"plate {number} of {len(plates)}" if number else ""
        text = ", ".join(word for word in (name, plate, gauge) if word)
        yield _part(piece, text, group, number, len(plates))


def _part(piece: Mapping[str, Any], text: str, group: PatternGroup, plate: int, plates: int) -> Part:
    cut = outline_of(piece)
    left, bottom, _, _ = box(cut)
    outline = _moved(cut, -left, -bottom)
    holes = tuple(_moved(hole, -left, -bottom) for hole in piece.get("holes") or ())
    marks = tuple(
        MarkLine(str(mark["name"]), _moved(mark["line"], -left, -bottom), mark.get("angle"))
        for mark in piece.get("marks") or ()
    )
    place = text_place(outline, holes, len(text), TEXT_IN, [mark.line for mark in marks])
    return Part(group, plate, plates, outline, holes, marks, text, place)


def _shifted(part: Part, dx: float, dy: float) -> Part:
    place = part.place
    return Part(
        part.group,
        part.plate,
        part.plates,
        _moved(part.cut, dx, dy),
        tuple(_moved(hole, dx, dy) for hole in part.holes),
        tuple(MarkLine(mark.name, _moved(mark.line, dx, dy), mark.angle) for mark in part.marks),
        part.text,
        TextPlace(place.x + dx, place.y + dy, place.height, place.angle),
    )


def _moved(points: Outline, dx: float, dy: float) -> Line:
    return tuple((float(x) + dx, float(y) + dy) for x, y, *_ in points)


__all__ = ["GAP_IN", "TEXT_IN", "MarkLine", "Part", "parts", "parts_of"]
