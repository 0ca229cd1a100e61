"""What the printed documents are made from: plain, frozen, no database.

Lengths are inches, weights pounds, dates `datetime.date`. A development is the answer of `POST /develop/`
in inches, as a mapping; the same object may stand on many sheets, and its drawing is then made once.
Every text may be of any length and script: the documents measure it, shrink it, and cut it with an ellipsis.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import Any

from fittings.drawing import Scene
from fittings.drawing.placed_sheet import SheetDrawing

SIGNAL_WORDS = ("DANGER", "WARNING", "CAUTION")


@dataclass(frozen=True)
class Shop:
    """The letterhead: name, address, telephone, the bytes of a PNG or JPEG as logo; all but the name may be empty."""

    name: str
    address: str = ""
    phone: str = ""
    logo: bytes = b""


@dataclass(frozen=True)
class BadgeCard:
    """An operator's badge as a card."""

    code: str
    name: str


@dataclass(frozen=True)
class StepRow:
    """One step of the route, in flow order.

    operation  its code ("cut"), which cautions refer to
    name       as the shop calls it ("Cut")
    method     how ("plasma table"); may be empty
    each       "segment" or "fitting": what one scan of it stands for
    positions  of the segments that go through it, where not all do
    minutes    standard minutes for one fitting of this sheet, None where unknown
    """

    operation: str
    name: str
    method: str = ""
    each: str = "segment"
    positions: tuple[int, ...] = ()
    minutes: float | None = None


@dataclass(frozen=True)
class CautionRow:
    """A bodily hazard at an operation (ANSI Z535.4). `word` is DANGER, WARNING or CAUTION; never for quality.

    hazard     what can hurt ("Sharp edges.")
    text       consequence and how to avoid it ("Can cut hands. Wear cut-resistant gloves.")
    """

    operation: str
    word: str
    hazard: str
    text: str

    def __post_init__(self) -> None:
        if self.word not in SIGNAL_WORDS:
            raise ValueError(f"signal word {self.word!r} is none of {', '.join(SIGNAL_WORDS)}")


@dataclass(frozen=True)
class SegmentRow:
    """A row of the table of segments: equal patterns together. Made by `segments.segment_rows`, never typed.

    positions  where in the fitting, from 1; role as it is called
    form       "round", "cone", "flat", "12 bends"
    sizes      inside diameters of its round edges [in]: one, or a cone's two, or none
    lengths    inches on the mean surface; `stretch_out`, `throat`, `heel` None for forms that have none
    sides      lengths at the sides where throat and heel do not tell them
    has_throat whether the two are so called: a pipe or a cone has a shortest and a longest element
    seam_at    "throat", "heel", "side", or an angle "72°"; "" where it has no seam or any place is as good
    plates     1, or the number of plates that each such segment is made of
    edge_bends bend lines of a flat one: an edge that is turned later
    """

    positions: tuple[int, ...]
    role: str
    form: str
    sizes: tuple[float, ...]
    stretch_out: float | None
    throat: float | None
    heel: float | None
    sides: tuple[float, ...]
    lap: float | None
    blank_width: float
    blank_height: float
    seam_at: str = ""
    holes: int = 0
    plates: int = 1
    edge_bends: int = 0
    has_throat: bool = True


@dataclass(frozen=True)
class PieceRow:
    """One fitting of the sheet: its number in the line, its code, its segments' (position, code) pairs."""

    number: int
    code: str
    segments: tuple[tuple[int, str], ...] = ()


@dataclass(frozen=True)
class TravelerSheet:
    """One traveler: a lot of equal fittings, or one fitting of a line.

    code          the traveler's own code, as stored (no spaces)
    first_number, last_number   the fittings of the line that it goes with; equal for a single one
    line_quantity               fittings of the whole line
    material      as the shop names it ("Galvanized"); thickness comes from the development
    ends          (letter, title of the finish) of each free end: (("A", "Flange"), ("B", "Raw"))
    development   see the module; its `warnings` are printed
    reprint       0 for the first print, n for the nth print after it (2 prints "Reprint 2")
    from_stock    which of its fittings and pieces were kept, and where they lie; blank where none was
    tables        version text of the shop's tables ("Tables of 4 Mar 2026"), may be empty
    """

    code: str
    order_number: str
    customer: str
    line: int
    line_quantity: int
    first_number: int
    last_number: int
    material: str
    gauge: int
    development: Mapping[str, Any]
    tag: str = ""
    purchase_order: str = ""
    due_on: date | None = None
    priority: int | None = None
    ends: Sequence[tuple[str, str]] = ()
    steps: Sequence[StepRow] = ()
    cautions: Sequence[CautionRow] = ()
    pieces: Sequence[PieceRow] = ()
    from_stock: str = ""
    notes: str = ""
    reprint: int = 0
    tables: str = ""

    @property
    def quantity(self) -> int:
        """Fittings that go with it; of a lot that was cut down some numbers in between are missing."""
        return len(self.pieces) or self.last_number - self.first_number + 1


@dataclass(frozen=True)
class LabelItem:
    """One label: one segment, or one plate of it, or (position None) the fitting itself.

    code             the code to scan: the segment's, or the fitting's
    position         of the segment in the fitting, from 1; None for a label of the whole fitting
    fitting_number   number of the fitting in its line, of `line_quantity`
    plate, plates    "plate 1 of 2"; 0 and 0 where the segment is in one piece
    generation       2 and up is a remade segment, and the label says so
    """

    code: str
    order_number: str
    line: int
    line_quantity: int
    fitting_number: int
    material: str
    gauge: int
    development: Mapping[str, Any]
    position: int | None = None
    tag: str = ""
    customer: str = ""
    due_on: date | None = None
    plate: int = 0
    plates: int = 0
    generation: int = 1


@dataclass(frozen=True)
class LabelFormat:
    """A sheet of labels, inches: the columns of the shop table `labels`. Margins run to the first label."""

    name: str
    page_width_in: float
    page_height_in: float
    columns: int
    rows: int
    width_in: float
    height_in: float
    left_in: float
    top_in: float
    pitch_x_in: float
    pitch_y_in: float

    @property
    def per_page(self) -> int:
        return self.columns * self.rows


@dataclass(frozen=True)
class PackingRow:
    """One line of an order as packed. `weight_each_lb` None where it is not known; then totals say so."""

    line: int
    quantity: int
    description: str
    tag: str = ""
    material: str = ""
    weight_each_lb: float | None = None
    code: str = ""


@dataclass(frozen=True)
class PackingList:
    """All of an order that leaves the door. `code` may be empty; `ship_to` may have several lines."""

    order_number: str
    customer: str
    rows: Sequence[PackingRow]
    purchase_order: str = ""
    due_on: date | None = None
    ship_to: str = ""
    notes: str = ""
    code: str = ""
    reprint: int = 0


@dataclass(frozen=True)
class QuoteRow:
    """One line of a quote. `drawing` None where the fitting can no longer be drawn."""

    line: int
    quantity: int
    text: str
    metal: str
    ends: str
    tag: str
    unit_price: Decimal
    total: Decimal
    drawing: Scene | None = None


@dataclass(frozen=True)
class QuotePaper:
    """What a customer is offered. `sign` is the currency's; `terms` may have several lines."""

    number: int
    version: int
    order_number: str
    customer: str
    made_on: date
    valid_until: date
    sign: str
    total: Decimal
    rows: Sequence[QuoteRow]
    purchase_order: str = ""
    address: str = ""
    note: str = ""
    terms: str = ""


@dataclass(frozen=True)
class CutPieceRow:
    """A piece of a sheet to cut, with what its label says. Sides of the box round its outline [in].

    feed     its number on the sheet, the front of the table first
    name     "Gore 2 of 5", "Branch 2 of 2", "Pipe"
    notes    what is not plain about it: "plate 1 of 2", "seam at throat", "remade 2", "taken off: scratched"
    is_off   taken off the sheet: not to be cut
    """

    feed: int
    code: str
    order_number: str
    name: str
    long: float
    wide: float
    tag: str = ""
    notes: tuple[str, ...] = ()
    is_off: bool = False


@dataclass(frozen=True)
class CutSheetPaper:
    """One sheet of a cut plan, or one length of coil.

    position, sheets   which of the plan's sheets it is, from 1
    code               blank before the plan is sent; `stamp` then says so ("Proposal – not sent")
    load, offset       which load of the table it lies in, where it begins on the table [in]
    place              "front sheet", "rear sheet", "sheet 3 from the front"; blank where it lies alone
    utilisation        part of the sheet, or of the coil's length, that becomes pieces, from 0 to 1
    """

    plan_number: int
    position: int
    sheets: int
    material: str
    gauge: int
    stock_name: str
    drawing: SheetDrawing
    utilisation: float
    pieces: Sequence[CutPieceRow] = ()
    code: str = ""
    stamp: str = ""
    load: int = 1
    offset: float = 0.0
    place: str = ""
    cautions: Sequence[CautionRow] = ()


@dataclass(frozen=True)
class CutPlanPaper:
    """A whole cut plan: its sheets in the order in which they are cut. `said` is when and by whom it was sent."""

    number: int
    material: str
    gauge: int
    sheets: Sequence[CutSheetPaper]
    utilisation: float
    stamp: str = ""
    said: str = ""
