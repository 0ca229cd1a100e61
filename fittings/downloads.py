"""Patterns as files to take away: of one fitting, and of a whole order as one ZIP. Nothing is stored."""

from __future__ import annotations

import math
import re
import unicodedata
import zipfile
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from io import BytesIO
from typing import Any

from django.http import HttpResponse

from fittings import drawing
from fittings.developing import UNITS, development_answer
from fittings.drawing import PatternGroup, patterns, role_title
from fittings.geometry import Development
from fittings.models import Order
from fittings.preview import line_shown
from fittings.selectors import order_by_number
from fittings.tables import versions_in_force
from shared.problems import Conflict, FieldError, TooLarge, WrongInput
from shared.sheets import csv_text
from shared.texts import printable
from shared.units import MM_PER_IN, plain_number

MOST_PATTERNS = 500
ZIP_DATE = (1980, 1, 1, 0, 0, 0)  # the earliest that a ZIP can say: equal orders give equal files
LISTED = (
    "file",
    "pattern",
    "quantity",
    "role",
    "lines",
    "material",
    "gauge",
    "blank_length_{unit}",
    "blank_width_{unit}",
    "plates",
    "cut_length_{unit}",
)


@dataclass(frozen=True)
class FileForm:
    """A form of file: its media type, and what draws it from a development in inches for a unit."""

    media_type: str
    draw: Callable[[Mapping[str, Any], str], bytes | str]


FORMS = {
    "dxf": FileForm("image/vnd.dxf", drawing.patterns_dxf),
    "svg": FileForm("image/svg+xml", drawing.patterns_svg),
    "pdf": FileForm("application/pdf", drawing.patterns_pdf),
}


@dataclass(frozen=True)
class MadeFile:
    name: str
    media_type: str
    content: bytes


def unit_asked(text: str | None) -> str:
    """The unit of a file. raises WrongInput"""
    if text in (None, *UNITS):
        return text or "in"
    limit, shown = " or ".join(UNITS), printable(text)[:40]
    raise WrongInput([FieldError("unit", shown, limit, f"Unit is “{shown}”; it can be {limit}.")])


def file_response(made: MadeFile, *, kind: str = "inline") -> HttpResponse:
    """The file as an answer: `inline`, shown where it can be, or `attachment`, always saved."""
    response = HttpResponse(made.content, content_type=made.media_type)
    response["Content-Disposition"] = f'{kind}; filename="{made.name}"'
    return response


def fitting_file(dev: Development, form: str, unit: str) -> MadeFile:
    """The patterns of a developed fitting at full scale.

    form    a key of FORMS
    raises  WrongInput for another form
    """
    if form not in FORMS:
        limit, shown = ", ".join(FORMS), printable(form)[:40]
        raise WrongInput([FieldError("format", shown, limit, f"Format is “{shown}”; it can be {limit}.")])
    made = FORMS[form].draw(development_answer(dev, "in"), unit)
    name = f"{plain_name(dev.kind, f'{dev.gauge}ga', dev.material, unit)}.{form}"
    return MadeFile(name, FORMS[form].media_type, made.encode() if isinstance(made, str) else made)


def plain_name(*parts: object) -> str:
    """A file's name that every system takes: small ASCII letters, digits and hyphens.

    >>> plain_name("3fa9c1d2", "48x", "Middle gore", "24ga", "galvanized")
    '3fa9c1d2-48x-middle-gore-24ga-galvanized'
    >>> plain_name("Blèche ../", "con")
    'bleche-con'
    """
    text = unicodedata.normalize("NFKD", "-".join(str(part) for part in parts))
    text = text.encode("ascii", "ignore").decode().lower()
    return re.sub(r"[^a-z0-9]+", "-", text).strip("-")[:120] or "pattern"


# -- an order ----------------------------------------------------------------


@dataclass(frozen=True)
class OrderPattern:
    """A pattern of an order as it is drawn, how many over all its lines, and those lines' numbers."""

    pattern: str
    segment: Mapping[str, Any]
    material: str
    gauge: int
    dxf: bytes
    quantity: int = 0
    roles: tuple[str, ...] = ()
    lines: tuple[int, ...] = ()

    @property
    def file(self) -> str:
        """Code, quantity, role, metal: the code alone makes it unique."""
        metal = (f"{self.gauge}ga", self.material)
        return plain_name(self.pattern, f"{self.quantity}x", role_title(self.roles[0]), *metal) + ".dxf"


def order_patterns_zip(number: str, unit: str) -> MadeFile:
    """All patterns of an order, a DXF each, with a list of them. The same order gives the same bytes.

    raises  NotFound; Conflict where it is cancelled; WrongInput where a draft's line cannot be made any more;
            TooLarge
    """
    order = order_by_number(number)
    found = order_patterns(order, unit)
    packed = BytesIO()
    with zipfile.ZipFile(packed, "w") as archive:
        for one in found:
            zip_put(archive, one.file, one.dxf)
        zip_put(archive, "patterns.csv", _list(found, unit).encode())
    return MadeFile(f"patterns-{plain_name(order.number, unit)}.zip", "application/zip", packed.getvalue())


def order_patterns(order: Order, unit: str) -> list[OrderPattern]:
    """The different patterns of an order in the order of its lines, equal ones of several lines once.

    A released line is read as it was frozen; a draft's is developed by the tables in force. One line at a time is
    in memory.
    """
    if order.state == Order.State.CANCELLED:
        raise Conflict(
            f"Order {order.number} is cancelled. Nothing is cut for it; its patterns are not given out."
        )
    versions = versions_in_force()
    found: dict[str, OrderPattern] = {}
    for line in order.lines.order_by("position").iterator(chunk_size=10):
        try:
            shown = line_shown(line, versions)
        except WrongInput as wrong:
            raise WrongInput(_of_line(wrong, line.position)) from None
        for group in patterns(shown):
            one = found.get(group.pattern) or _drawn(group, shown, unit)
            role = group.segment["role"]
            found[group.pattern] = replace(
                one,
                quantity=one.quantity + group.count * line.quantity,
                roles=one.roles if role in one.roles else (*one.roles, role),
                lines=(*one.lines, line.position),
            )
            if len(found) > MOST_PATTERNS:
                raise TooLarge(
                    f"Order {order.number} has more than {MOST_PATTERNS} different patterns; one ZIP holds at most "
                    f"that many. Take them fitting by fitting from the pattern desk."
                )
    return list(found.values())


def _drawn(group: PatternGroup, shown: Mapping[str, Any], unit: str) -> OrderPattern:
    kept = {name: value for name, value in group.segment.items() if name != "space"}
    dxf = drawing.pattern_dxf(shown, group.pattern, unit)
    return OrderPattern(group.pattern, kept, shown["material"], shown["gauge"], dxf)


def _of_line(wrong: WrongInput, position: int) -> list[FieldError]:
    return [
        replace(
            error, field=f"lines[{position - 1}].{error.field}", message=f"Line {position}: {error.message}"
        )
        for error in wrong.errors
    ]


def zip_put(archive: zipfile.ZipFile, name: str, content: bytes) -> None:
    """An entry whose bytes depend on its name and content alone."""
    entry = zipfile.ZipInfo(name, ZIP_DATE)
    entry.compress_type = zipfile.ZIP_DEFLATED
    entry.create_system = 3  # the same wherever it is made
    entry.external_attr = 0o644 << 16
    archive.writestr(entry, content)


def _list(found: Sequence[OrderPattern], unit: str) -> str:
    rows: list[Sequence[Any]] = [[name.format(unit=unit) for name in LISTED]]
    for one in found:
        plates = one.segment.get("plates") or ()
        blanks = [part["blank"] for part in plates or (one.segment,)]
        row = [one.file, one.pattern, one.quantity, " / ".join(role_title(role) for role in one.roles)]
        row += [" ".join(map(str, one.lines)), one.material, one.gauge]
        row += [_length(max(blank[side] for blank in blanks), unit) for side in ("width", "height")]
        row += [len(plates), _length(cut_length(one.segment), unit)]
        rows.append(row)
    return csv_text(rows)


def _length(value_in: float, unit: str) -> str:
    return plain_number(value_in * (MM_PER_IN if unit == "mm" else 1), 3)


def cut_length(segment: Mapping[str, Any]) -> float:
    """How far the table cuts for a segment: round its outline, or those of its plates, and its holes [in]."""
    parts = segment.get("plates") or (segment,)
    outlines = [line for part in parts for line in (part["cut_outline"], *(part.get("holes") or ()))]
    return sum(_round(outline) for outline in outlines)


def _round(outline: Sequence[Sequence[float]]) -> float:
    return sum(math.dist(a, b) for a, b in zip(outline, [*outline[1:], outline[0]], strict=True))
