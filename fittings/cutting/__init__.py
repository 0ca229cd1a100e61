"""The nesting core: parts on sheets, coils and remnants. Pure: no Django, no database, no files.

`nest(work)` is the public face. Lengths are in the unit of the work (inches in the app), angles in degrees.
"""

from .layout import Layout, PlacedSheet, Placement, Progress, Unplaced, placed_outline, stock_used
from .nest import EFFORTS, LONG, NORMAL, QUICK, nest
from .work import ANY, HALF, NONE, TURNS, Part, Rules, Stock, Trouble, Work, WorkError

__all__ = [
    "ANY",
    "EFFORTS",
    "HALF",
    "LONG",
    "NONE",
    "NORMAL",
    "QUICK",
    "TURNS",
    "Layout",
    "Part",
    "PlacedSheet",
    "Placement",
    "Progress",
    "Rules",
    "Stock",
    "Trouble",
    "Unplaced",
    "Work",
    "WorkError",
    "nest",
    "placed_outline",
    "stock_used",
]
