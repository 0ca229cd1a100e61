"""The columns that a take-off may have: what each means, what it is called, in which unit a bare number is.

They follow the kinds of fittings, so that a new parameter of a kind has its column at once.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

from fittings.forms import param_label
from fittings.geometry import KINDS, Kind, Param

PARAMS = "params."
ALLOWANCES = "allowances."
PART_OF_ORDER = ("number", "customer", "purchase_order", "due", "priority", "notes", "notes_more")


@dataclass(frozen=True)
class Column:
    """One column. `name` is its field in the HTTP contract (`params.diameter`); `sort` says how its cells are read.

    sort    text, kind, material, gauge, finish, whole, length, number, choice, yes, day, priority
    names   what else it is called, in plain words
    """

    name: str
    title: str
    sort: str
    names: tuple[str, ...] = ()
    choices: tuple[str, ...] = ()
    help: str = ""

    def head(self, unit: str = "in") -> str:
        """What stands above it in a file that we write."""
        marks = {"length": f" ({unit})", "angle": " (°)"}
        return self.title + marks.get(self.sort, "")


ORDER_COLUMNS = (
    Column(
        "number",
        "Order number",
        "text",
        ("order", "order no", "order id", "so number", "so no"),
        help="Lines with the same number are one order. Left out: the next free number.",
    ),
    Column("customer", "Customer", "text", ("customer name", "client", "sold to", "bill to", "contractor")),
    Column(
        "purchase_order",
        "Purchase order",
        "text",
        ("po", "p o", "po number", "p o number", "customer po", "customers po", "purchase order number"),
    ),
    Column(
        "due",
        "Due",
        "day",
        ("due date", "due on", "needed by", "need by", "date needed", "required by", "date required")
        + ("delivery date", "delivery", "ship date", "ship by", "required date"),
        help="A date: 2026-12-17, or 17 Dec 2026.",
    ),
    Column("priority", "Priority", "priority", ("prio", "rank"), help="1 first, 9 last; 5 where left out."),
    Column("notes", "Notes", "text", ("note", "remarks", "remark", "comment", "comments", "order notes")),
    Column("notes_more", "Notes, continued", "text", help="What of the notes is longer than a cell may be."),
)
LINE_COLUMNS = (
    Column(
        "quantity",
        "Quantity",
        "whole",
        (
            "count",
            "number of",
            "no of",
            "how many",
            "each",
            "ea",
            "nos",
            "quantity of pieces",
            "total quantity",
        )
        + ("fittings", "no of pcs", "order quantity", "required quantity"),
    ),
    Column("kind", "Kind", "kind", ("type", "fitting", "fitting type", "item", "shape", "fitting kind")),
    Column("material", "Material", "material", ("metal", "sheet", "material type")),
    Column("gauge", "Gauge", "gauge", ("gauge no", "metal gauge", "sheet gauge", "gauge thickness")),
)
LATER_COLUMNS = (
    Column(
        "system",
        "System",
        "text",
        ("floor", "system or floor", "floor or system", "area", "zone", "level", "system no", "system name"),
        help="What of the building it is for: a floor, a system.",
    ),
    Column(
        "tag",
        "Tag",
        "text",
        ("mark", "item tag", "fitting tag", "piece mark", "mark no", "tag no", "line tag", "label"),
        help="The mark that the drawing uses.",
    ),
    Column(
        "system",
        "System",
        "text",
        ("floor", "level", "area", "zone", "duct system", "system no", "building level"),
        help="The floor or the duct system that it is for.",
    ),
    Column(
        "pressure_class",
        "Pressure class (in. w.g.)",
        "number",
        (
            "pressure class",
            "pressure",
            "class",
            "static pressure",
            "pressure in w g",
            "pressure class in w g",
        ),
        help="Negative below the room's pressure.",
    ),
    Column(
        "traveler_per",
        "Traveler per",
        "choice",
        ("traveler", "travelers", "traveler for"),
        ("lot", "fitting"),
        help="lot: one for all of the line; fitting: one each.",
    ),
)
PARAM_NAMES = {
    "diameter": (
        *("size", "d", "duct diameter", "duct size", "inside diameter", "id", "main diameter", "round"),
        *("main size", "pipe diameter", "run diameter", "elbow diameter", "in diameter", "nominal diameter"),
    ),
    "diameter_a": (
        *("diameter 1", "d1", "d a", "large diameter", "large end", "inlet diameter", "diameter in"),
        *("from diameter", "from", "size a", "size 1", "large end diameter", "inlet"),
    ),
    "diameter_b": (
        *("diameter 2", "d2", "d b", "small diameter", "small end", "outlet diameter", "diameter out"),
        *("to diameter", "to", "size b", "size 2", "small end diameter", "outlet", "reduced diameter"),
    ),
    "angle": ("degrees", "deg", "bend", "bend angle", "turn", "elbow angle", "branch angle", "°"),
    "pieces": ("gores", "number of gores", "no of gores", "gore count", "segments", "elbow pieces"),
    "radius_ratio": ("r d", "radius factor", "ratio", "r d ratio", "clr ratio"),
    "centerline_radius": ("clr", "cl radius", "center line radius", "centre line radius", "radius")
    + ("centreline radius", "c l radius", "bend radius"),
    "length": ("len", "l", "overall length", "oal", "run length", "total length", "overall"),
    "width": ("w", "rect width", "rectangular width", "duct width"),
    "height": ("h", "rect height", "rectangular height", "duct height", "depth of duct"),
    "offset": ("offset distance", "set", "offset by"),
    "branch_diameter": ("tap diameter", "branch size", "tap size", "branch d", "takeoff diameter"),
    "branch_length": ("tap length", "branch l", "takeoff length"),
    "depth": ("cap depth", "flange depth"),
    "collar_a": ("collar 1", "collar at a"),
    "collar_b": ("collar 2", "collar at b"),
    "main_length": ("length of main",),
    "base_diameter": ("cone base", "base size"),
    "roll": ("rolling offset", "roll distance"),
    "seam_at": ("seam", "seam location", "seam position"),
    "gore_class": ("elbow class",),
}
END_NAMES = {
    "end_a": (
        "end 1",
        "connection 1",
        "end finish a",
        "finish a",
        "connection a",
        "end a finish",
        "conn a",
        "inlet end",
    ),
    "end_b": (
        "end 2",
        "connection 2",
        "end finish b",
        "finish b",
        "connection b",
        "end b finish",
        "conn b",
        "outlet end",
    ),
    "end_c": (
        "end 3",
        "connection 3",
        "end finish c",
        "finish c",
        "branch end",
        "connection c",
        "end c finish",
    ),
}
ALLOWANCE_TITLES = {
    "lap": "Seam lap",
    "edge_a": "Gore edge A",
    "edge_b": "Gore edge B",
    "end_a": "Allowance end A",
    "end_b": "Allowance end B",
    "end_c": "Allowance end C",
}


@cache
def columns() -> dict[str, Column]:
    """All columns by name, in the order in which they stand in a file."""
    ends = [Column(f"end_{one}", f"End {one.upper()}", "finish", END_NAMES[f"end_{one}"]) for one in "abc"]
    joins = [Column(f"joins_{one}", f"End {one.upper()} joins", "finish") for one in "abc"]
    plain = {param.name: param for kind in KINDS.values() for param in kind.params if not param.more}
    seldom = {param.name: param for kind in KINDS.values() for param in kind.params if param.more}
    seldom = {name: param for name, param in seldom.items() if name not in plain}
    edges = [Column(ALLOWANCES + name, title, "length") for name, title in ALLOWANCE_TITLES.items()]
    found = [
        *ORDER_COLUMNS,
        *LINE_COLUMNS,
        *map(_of_param, plain.values()),
        *ends,
        *LATER_COLUMNS[:2],
        *map(_of_param, seldom.values()),
        *joins,
        *LATER_COLUMNS[2:],
        *edges,
    ]
    return {column.name: column for column in found}


def _of_param(param: Param) -> Column:
    sorts = {
        "in": "length",
        "deg": "angle",
        "count": "whole",
        "choice": "choice",
        "bool": "yes",
        "": "number",
    }
    title = param_label(param, "in").partition(",")[0]
    title = {"pieces": "Gores"}.get(param.name, title)
    names = (*PARAM_NAMES.get(param.name, ()), param.name.replace("_", " "))
    names = tuple(name for name in names if param.name != "pieces" or name != "pieces")
    return Column(PARAMS + param.name, title, sorts[param.unit], names, param.choices, param.help)


def columns_of(kind: Kind) -> list[Column]:
    """The columns that a line of this kind can fill in, besides those of the order, in their order."""
    letters = [letter for letter, _ in kind.ends]
    own = {PARAMS + param.name for param in kind.params}
    own |= {f"end_{one}" for one in letters} | {ALLOWANCES + f"end_{one}" for one in letters}
    own |= {f"joins_{one}" for one, _ in kind.meeting_ends}
    own |= {ALLOWANCES + name for name in ("lap", "edge_a", "edge_b")}
    own |= {column.name for column in (*LINE_COLUMNS, *LATER_COLUMNS)}
    return [column for column in columns().values() if column.name in own]
