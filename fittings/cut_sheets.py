"""The sheets of cut plans as they are drawn and listed: rows of the database to plain data. Only reads."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from django.db.models import prefetch_related_objects

from fittings.cut_outlines import piece_pattern
from fittings.cutting.layout import Placement, placed_outline
from fittings.drawing import role_title
from fittings.drawing.cut_sheet import MarkLine, PlacedPiece, SheetDrawing
from fittings.models import CutPiece, CutSheet, OrderLine, StockItem

Pattern = Mapping[str, Any]
_FIELDS = (
    "sheet_id",
    "feed",
    "plate",
    "pattern",
    "seam_at",
    "x",
    "y",
    "rotation",
    "off_at",
    "off_reason",
    "segment_id",
    "segment__code",
    "segment__position",
    "segment__generation",
    "segment__fitting__number",
    "segment__fitting__line_id",
)


@dataclass(frozen=True)
class SheetPiece:
    """A piece on a sheet, as lists name it.

    label   "Gore 2 of 5", "Branch 2 of 2", "Pipe"
    plate   0 for the whole segment, else from 1 to `plates`
    long, wide  of the box round the outline as developed [in]
    seam_at where the plan put the seam, blank where it is as ordered
    """

    segment_id: int
    feed: int
    code: str
    label: str
    order_number: str
    line: int
    fitting_number: int
    tag: str
    plate: int
    plates: int
    seam_at: str
    generation: int
    long: float
    wide: float
    is_off: bool = False
    off_reason: str = ""

    @property
    def notes(self) -> tuple[str, ...]:
        """What is not plain about it: "plate 1 of 2", "seam at throat", "remade 2"."""
        found = (
            f"plate {self.plate} of {self.plates}" if self.plate else "",
            f"seam at {self.seam_at}" if self.seam_at else "",
            f"remade {self.generation}" if self.generation > 1 else "",
        )
        return tuple(note for note in found if note)


@dataclass(frozen=True)
class SheetContent:
    """A sheet with its drawing and its pieces in feed order."""

    sheet: CutSheet
    drawing: SheetDrawing
    pieces: tuple[SheetPiece, ...]


def sheet_contents(sheets: Iterable[CutSheet]) -> list[SheetContent]:
    """Drawings and lists of sheets, in their order. Three queries, and one where the sheets' plans are not at hand."""
    sheets = list(sheets)
    if not sheets:
        return []
    prefetch_related_objects(sheets, "plan")
    ids = [sheet.pk for sheet in sheets]
    rows = list(CutPiece.objects.filter(sheet__in=ids).order_by("sheet_id", "feed", "pk").values(*_FIELDS))
    line_ids = {row["segment__fitting__line_id"] for row in rows}
    lines = OrderLine.objects.select_related("order").in_bulk(line_ids)
    codes = dict(
        StockItem.objects.filter(made_from__in=ids, form=StockItem.Form.REMNANT).values_list(
            "made_from_id", "code"
        )
    )
    by_sheet: dict[int, list[tuple[SheetPiece, PlacedPiece]]] = defaultdict(list)
    for row in rows:
        by_sheet[row["sheet_id"]].append(_piece(row, lines[row["segment__fitting__line_id"]]))
    return [_content(sheet, by_sheet[sheet.pk], codes.get(sheet.pk, "")) for sheet in sheets]


def _content(sheet: CutSheet, pieces: Sequence[tuple[SheetPiece, PlacedPiece]], remnant: str) -> SheetContent:
    plan = sheet.plan
    is_coil = sheet.form == StockItem.Form.COIL
    wide, long = sheet.remnant_width_in, sheet.remnant_length_in
    drawing = SheetDrawing(
        title=f"Sheet {sheet.position} of cut plan {plan.number}, {plan.material} {plan.gauge} ga",
        width=sheet.width_in,
        length=sheet.length_in,
        margin=plan.margin_in,
        used_length=sheet.used_length_in,
        is_coil=is_coil,
        pieces=tuple(placed for _, placed in pieces),
        remnant=(sheet.length_in - long, 0.0, wide, long) if wide and long else None,
        code=sheet.code,
        remnant_code=remnant,
        offset=sheet.load_offset_in,
    )
    return SheetContent(sheet, drawing, tuple(listed for listed, _ in pieces))


def _piece(row: Mapping[str, Any], line: OrderLine) -> tuple[SheetPiece, PlacedPiece]:
    position, plate = row["segment__position"], row["plate"]
    pattern = piece_pattern(line, position, plate, row["seam_at"])
    segments = line.development["segments"]
    cut = np.asarray(pattern["cut_outline"], dtype=float)
    long, wide = np.ptp(cut, axis=0)
    listed = SheetPiece(
        segment_id=row["segment_id"],
        feed=row["feed"],
        code=row["segment__code"],
        label=piece_label(segments, position),
        order_number=line.order.number,
        line=line.position,
        fitting_number=row["segment__fitting__number"],
        tag=line.tag,
        plate=plate,
        plates=len(segments[position - 1].get("plates") or ()) if plate else 0,
        seam_at=row["seam_at"],
        generation=row["segment__generation"],
        long=float(long),
        wide=float(wide),
        is_off=row["off_at"] is not None,
        off_reason=row["off_reason"],
    )
    return listed, _placed(row, listed, pattern, cut)


def _placed(row: Mapping[str, Any], listed: SheetPiece, pattern: Pattern, cut: np.ndarray) -> PlacedPiece:
    place = Placement("", row["x"], row["y"], row["rotation"])

    def on_sheet(points) -> tuple[tuple[float, float], ...]:
        return tuple(map(tuple, placed_outline(np.asarray(points, dtype=float), place).tolist()))

    where = " ".join(word for word in (f"order {listed.order_number}", listed.tag) if word)
    return PlacedPiece(
        feed=listed.feed,
        label=f"{listed.label}, plate {listed.plate}" if listed.plate else listed.label,
        code=listed.code,
        outline=on_sheet(cut),
        holes=tuple(on_sheet(hole) for hole in pattern.get("holes") or ()),
        marks=tuple(
            MarkLine(mark["name"], on_sheet(mark["line"]), mark.get("angle"))
            for mark in pattern.get("marks") or ()
        ),
        pattern=row["pattern"],
        lines=(where, *listed.notes),
        is_off=listed.is_off,
    )


def piece_label(segments: Sequence[Pattern], position: int) -> str:
    """What a segment is called among those of its fitting.

    >>> piece_label([{"role": "end_gore"}, {"role": "middle_gore"}], 2), piece_label([{"role": "pipe"}], 1)
    ('Gore 2 of 2', 'Pipe')
    """
    role = segments[position - 1]["role"]
    if len(segments) == 1:
        return role_title(role)
    is_elbow = all("gore" in segment["role"] for segment in segments)
    return f"{'Gore' if is_elbow else role_title(role)} {position} of {len(segments)}"
