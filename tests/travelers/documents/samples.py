"""Sheets, labels and lists with good defaults."""

from __future__ import annotations

from datetime import date

from tests.fittings.drawing.samples import elbow
from travelers.documents.data import (
    CautionRow,
    LabelFormat,
    LabelItem,
    PackingList,
    PackingRow,
    PieceRow,
    Shop,
    StepRow,
    TravelerSheet,
)

SHOP = Shop("Example Round Works", "1 Invented Street", "555 0100")
PRINTED = "Wed 25 Nov 2026, 13:02"
STEPS = (
    StepRow("cut", "Cut", "Plasma table", "segment", minutes=12),
    StepRow("roll", "Roll", "", "segment", minutes=8),
    StepRow("seam", "Seam", "Lock seam", "segment", minutes=15),
    StepRow("assemble", "Assemble", "Standing seam", "fitting", minutes=25),
    StepRow("ends", "Ends", "Flange", "fitting", minutes=6),
    StepRow("wrap", "Wrap", "", "fitting", minutes=3),
)
CAUTIONS = (
    CautionRow("cut", "WARNING", "hot slag", "Can burn. Let parts cool before handling."),
    CautionRow(
        "roll", "DANGER", "in-running nip between rolls", "Can crush hands. Know the stop before you start."
    ),
    CautionRow("seam", "CAUTION", "sharp edges", "Can cut. Wear cut-resistant gloves."),
)
ELBOW = elbow()
SHEETS_10 = LabelFormat("2 x 5", 8.5, 11, 2, 5, 4, 2, 0.15625, 0.5, 4.1875, 2)
SHEETS_30 = LabelFormat("3 x 10", 8.5, 11, 3, 10, 2.625, 1, 0.1875, 0.5, 2.75, 1)
ROLL = LabelFormat("Roll", 4, 2, 1, 1, 4, 2, 0, 0, 4, 2)
ODD_TEXTS = {
    "long": "X" * 200,
    "words": "level two north riser " * 10,
    "emoji": "🔥" * 100,
    "right to left": "שלום עולם " * 20,
    "direction marks": "\u202eAHU-3\u202c\u200f" * 25,
    "markup": "<script>alert(1)</script>" * 8,
    "combining": "e" + "\u0301\u0323" * 100,
    "fullwidth": "ＡＨＵ－３" * 40,
    "controls": "A\x00\x07\r\n\tB" * 30,
}


def sheet(development=ELBOW, quantity=12, **changes) -> TravelerSheet:
    count = len(development["segments"])
    pieces = tuple(
        PieceRow(
            number, f"K3{number:04d}00A", tuple((p, f"K3{number:04d}{p:02d}B") for p in range(1, count + 1))
        )
        for number in range(1, quantity + 1)
    )
    facts = {
        "code": "K3000A2BX",
        "order_number": "1042",
        "customer": "Placeholder Air",
        "line": 3,
        "line_quantity": quantity,
        "first_number": 1,
        "last_number": quantity,
        "material": "Galvanized",
        "gauge": 24,
        "development": development,
        "tag": "AHU-3",
        "purchase_order": "PO 7781",
        "due_on": date(2026, 12, 3),
        "ends": (("A", "Flange"), ("B", "Raw")),
        "steps": STEPS,
        "cautions": CAUTIONS,
        "pieces": pieces,
        "tables": "Tables of 4 Mar 2026",
    }
    return TravelerSheet(**{**facts, **changes})


def label(development=ELBOW, **changes) -> LabelItem:
    facts = {
        "code": "K3000A2BX",
        "order_number": "1042",
        "line": 3,
        "line_quantity": 12,
        "fitting_number": 4,
        "material": "Galvanized",
        "gauge": 24,
        "development": development,
        "position": 2,
        "tag": "AHU-3",
        "due_on": date(2026, 12, 3),
    }
    return LabelItem(**{**facts, **changes})


def packing(rows=None, **changes) -> PackingList:
    rows = rows or (
        PackingRow(1, 12, "Gored elbow 90°, 14 in, 5 pieces, R 21 in", "AHU-3", "Galvanized 24 ga", 11.8),
        PackingRow(2, 3, "Gored elbow 45°, 8 in, 3 pieces, R 12 in", "AHU-4", "Galvanized 26 ga", 2.5),
    )
    facts = {"purchase_order": "PO 7781", "due_on": date(2026, 12, 3), "ship_to": "Dock 4\n12 Harbor Road"}
    return PackingList("1042", "Placeholder Air", rows, **{**facts, **changes})
