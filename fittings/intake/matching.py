"""Which column of a file means what: heads are read by sense, whatever their case, points and short forms."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cache

from fittings.geometry import KINDS
from fittings.intake.columns import PARAMS, columns
from fittings.intake.grid import Page
from fittings.intake.limits import ROWS_ABOVE

LEAVE_OUT = ""
LONGEST_HEAD = 120
SHORT_FORMS = {
    **dict.fromkeys(("dia", "diam", "diameters", "ø", "⌀", "φ", "diametre"), "diameter"),
    **dict.fromkeys(("qty", "qnty", "quant", "quan"), "quantity"),
    **dict.fromkeys(("ga", "gage", "gauges", "gge"), "gauge"),
    **dict.fromkeys(("matl", "mat", "mtl", "materials", "mater"), "material"),
    **dict.fromkeys(("no", "num", "nr", "number", "#"), "no"),
    **dict.fromkeys(("br", "brch", "branches"), "branch"),
    **dict.fromkeys(("len", "lg", "lgth", "lngth", "lth"), "length"),
    **dict.fromkeys(("rad", "radii"), "radius"),
    **dict.fromkeys(("ang",), "angle"),
    **dict.fromkeys(("wd", "wdth"), "width"),
    **dict.fromkeys(("ht", "hgt"), "height"),
    **dict.fromkeys(("cust",), "customer"),
    **dict.fromkeys(("desc",), "description"),
    **dict.fromkeys(("degree",), "degrees"),
    **dict.fromkeys(("conn",), "connection"),
}
UNIT_WORDS = {
    **dict.fromkeys(("in", "ins", "inch", "inches", '"', "”", "″"), "in"),
    **dict.fromkeys(("mm", "millimeters", "millimetres"), "mm"),
    **dict.fromkeys(("cm", "centimeters", "centimetres"), "cm"),
    **dict.fromkeys(("ft", "feet", "foot", "'"), "ft"),
    **dict.fromkeys(("deg", "degrees", "degree", "°"), "deg"),
}
_UNIT_AT_END = re.compile(
    r"""^(?P<words>.*[^\s,(\[/-])\s*[\s,(\[/-]\s*(?P<unit>[a-z"”″'°]+)\.?\s*[)\]]?\s*$""", re.S
)
PIECES_OR_QUANTITY = ("pcs", "pc", "pieces", "piece")


@dataclass
class Match:
    """What the columns of one sheet mean: a column's name or "" (left out); None where nobody has said yet.

    head_at     which of the page's rows holds the heads, counted from 0
    units       the unit that a head names for its column ("in", "mm", "cm", "ft"), else ""
    """

    head_at: int
    heads: list[str]
    names: list[str | None]
    units: list[str]
    doubled: dict[int, int] = field(default_factory=dict)
    """Columns that mean what one before them means already."""

    @property
    def open(self) -> list[int]:
        """Columns of which somebody must say what they mean."""
        return [at for at, name in enumerate(self.names) if name is None or at in self.doubled]

    @property
    def column_of(self) -> dict[str, int]:
        return {name: at for at, name in enumerate(self.names) if name and at not in self.doubled}

    @property
    def is_known(self) -> bool:
        """Two heads are known, or all that there are."""
        known, given = sum(map(bool, self.names)), sum(map(bool, self.heads))
        return known >= 2 or (known == given > 0)


def head_words(head: str) -> tuple[str, str]:
    """A head without its unit, in one spelling, and the unit that it names.

    >>> head_words("Dia. (mm)"), head_words("MAT'L"), head_words("Ø, in"), head_words("Degrees")
    (('diameter', 'mm'), ('material', ''), ('diameter', 'in'), ('degrees', ''))
    """
    text = " ".join(head.split()).lower()[:LONGEST_HEAD]
    unit = ""
    found = _UNIT_AT_END.match(text)
    if found and found["unit"] in UNIT_WORDS:
        text, unit = found["words"], UNIT_WORDS[found["unit"]]
    text = text.replace("'", "").replace("’", "").replace("#", " # ").replace("ø", " ø ").replace("⌀", " ⌀ ")
    kept = "".join(
        one if one.isalnum() or one in "#⌀ø°" else " " for one in unicodedata.normalize("NFC", text)
    )
    words = [SHORT_FORMS.get(word, word) for word in kept.split()]
    return " ".join(words), unit


def _key(words: str) -> tuple[str, ...]:
    return tuple(sorted(words.split()))


@cache
def _known() -> dict[tuple[str, ...], str]:
    """Every name of every column, its words in any order, to the column."""
    found: dict[tuple[str, ...], str] = {}
    for column in columns().values():
        for name in (column.title, column.name.rpartition(".")[2].replace("_", " "), *column.names):
            found.setdefault(_key(head_words(name)[0]), column.name)
    return found


def named_by_sense(head: str) -> tuple[str | None, str]:
    """The column that a head means, or None; and the unit that it names."""
    words, unit = head_words(head)
    return _known().get(_key(words)), unit


def matched(page: Page, remembered: Mapping[str, str] | None = None) -> Match:
    """The columns of a sheet by sense, what was said of them before going first.

    remembered  head (as `head_words` spells it) to a column's name, or "" for one that is left out
    """
    remembered = dict(remembered or {})
    tries = [_match(page, at, remembered) for at in range(min(len(page.rows), ROWS_ABOVE))]
    best = max(tries, key=lambda one: (sum(map(bool, one.names)), -one.head_at))
    if not best.is_known:
        best = tries[0]
    return with_added(page, best)


def with_added(page: Page, match: Match) -> Match:
    """The match with the columns that stand at the right of the file, where none of its own means the same."""
    for name, at in page.added.items():
        missing = at + 1 - len(match.names)
        match.heads += [""] * missing
        match.names += [LEAVE_OUT] * missing
        match.units += [""] * missing
        is_meant = name in match.names[:at]
        match.heads[at], match.names[at] = columns()[name].title, LEAVE_OUT if is_meant else name
    match.doubled = _doubled(match.names)
    return match


def _match(page: Page, head_at: int, remembered: Mapping[str, str]) -> Match:
    width = max(map(len, page.rows[head_at:]), default=0)
    heads = [page.cell(head_at, at) for at in range(width)]
    names: list[str | None] = []
    units: list[str] = []
    for at, head in enumerate(heads):
        name, unit = named_by_sense(head)
        words = head_words(head)[0]
        if words in remembered:
            name = remembered[words]
        elif not head and not any(page.cell(row, at) for row in range(head_at + 1, len(page.rows))):
            name = LEAVE_OUT
        names.append(name)
        units.append("" if unit == "deg" else unit)
    _settle_pieces(heads, names)
    return Match(head_at, heads, names, units, _doubled(names))


def _settle_pieces(heads: list[str], names: list[str | None]) -> None:
    """“Pieces” and “Pcs” say how many fittings where no other column does, else how many gores."""
    for at, head in enumerate(heads):
        if names[at] is None and head_words(head)[0] in PIECES_OR_QUANTITY:
            names[at] = PARAMS + "pieces" if "quantity" in names else "quantity"


def _doubled(names: list[str | None]) -> dict[int, int]:
    first: dict[str, int] = {}
    doubled = {}
    for at, name in enumerate(names):
        if name and name in first:
            doubled[at] = first[name]
        elif name:
            first[name] = at
    return doubled


# -- words in cells ------------------------------------------------------------

KIND_WORDS = {
    "gored_elbow": ("elbow", "elbows", "ell", "el", "elb", "gored elbow", "gored ell", "round elbow"),
    "reducing_elbow": ("reducing elbow", "reducing ell", "red elbow"),
    "reducer": ("reducer", "red", "reduction", "increaser", "concentric reducer", "eccentric reducer")
    + ("taper", "transition", "round transition"),
    "offset": ("offset", "ogee", "s offset", "jog"),
    "end_cap": ("end cap", "cap", "caps", "endcap", "blank", "blank off", "plug"),
    "tee": ("tee", "t", "straight tee", "lateral", "wye lateral", "45 lateral", "branch tee"),
    "conical_tee": ("conical tee", "cone tee", "boot tee", "conical"),
    "wye": ("wye", "y", "y branch", "wye branch", "y fitting", "pants"),
    "saddle": ("saddle", "tap", "saddle tap", "tap in", "branch saddle"),
    "square_to_round": ("square to round", "sq to rd", "sq to round", "rectangular to round", "sq rd", "s r")
    + ("rect to round", "rect to rd", "square round"),
    "pipe": (
        "pipe",
        "duct",
        "straight",
        "straight pipe",
        "straight duct",
        "round pipe",
        "round duct",
        "joint",
    ),
}
MATERIAL_WORDS = {
    "galvanized": ("galv", "galvanised", "galvanized steel", "gi", "g i", "gal", "galvanised steel", "g90"),
    "stainless": ("ss", "s s", "stainless steel", "stst", "304", "316", "304 ss", "316 ss", "304l", "316l"),
    "aluminum": ("al", "alum", "aluminium", "alu"),
    "carbon steel": ("cs", "c s", "steel", "mild steel", "black iron", "blk iron", "black steel", "ms"),
}
_NUMBER = re.compile(r"^\d+(?:\.\d+)?$")


def _plain(text: str) -> str:
    kept = re.sub(r"\.(?!\d)", " ", text.lower().replace("'", ""))
    return " ".join("".join(one if one.isalnum() or one == "." else " " for one in kept).split())


@cache
def _kinds() -> dict[str, str]:
    found = {_plain(kind.title): kind.name for kind in KINDS.values()}
    found |= {kind.name.replace("_", " "): kind.name for kind in KINDS.values()}
    for name, words in KIND_WORDS.items():
        for word in words:
            found.setdefault(word, name)
    return found


def kind_named(text: str) -> tuple[str | None, float | None]:
    """The kind that a cell means, and the angle that it names beside (“90 ell”, “45° elbow”).

    >>> kind_named("90° Ell"), kind_named("Sq. to Rd."), kind_named("gadget")
    (('gored_elbow', 90.0), ('square_to_round', None), (None, None))
    """
    plain = _plain(text)
    if plain in _kinds():
        return _kinds()[plain], None
    words = [word.removesuffix("deg") for word in plain.split() if word not in ("deg", "degree", "degrees")]
    numbers = [float(word) for word in words if _NUMBER.match(word)]
    rest = " ".join(word for word in words if not _NUMBER.match(word))
    name = _kinds().get(rest)
    if name is None or len(numbers) != 1:
        return None, None
    takes_angle = any(param.name == "angle" for param in KINDS[name].params)
    return (name, numbers[0]) if takes_angle else (None, None)


def material_named(text: str, known: Mapping[str, object]) -> str | None:
    """The shop's material that a cell means, or None."""
    plain = _plain(text)
    by_plain = {_plain(name): name for name in known}
    if plain in by_plain:
        return by_plain[plain]
    meant = next((name for name, words in MATERIAL_WORDS.items() if plain in words), None)
    if meant in known:
        return meant
    begun = [name for short, name in by_plain.items() if len(plain) >= 3 and short.startswith(plain)]
    return begun[0] if len(begun) == 1 else None


def finish_named(text: str, ends: list[Mapping[str, object]]) -> str | None:
    """The shop's end finish that a cell means, by its name or title: “Flanged”, “Turned flange”."""
    plain = _plain(text)
    names = {_plain(str(row["name"])): str(row["name"]) for row in ends}
    for row in ends:
        names.setdefault(_plain(str(row["title"])), str(row["name"]))
        names.setdefault(_plain(str(row["title"]).partition(",")[0]), str(row["name"]))
    own = {
        "flanged": "flange",
        "flg": "flange",
        "flgd": "flange",
        "plain": "raw",
        "none": "raw",
        "plain end": "raw",
    }
    own |= {"crimped": "crimp", "swaged": "swage", "hemmed": "hem", "slip joint": "slip", "ringed": "ring"}
    own |= {"crimp end": "crimp", "raw end": "raw", "flange end": "flange"}
    found = names.get(plain)
    return found or (own.get(plain) if own.get(plain) in names.values() else None)
