"""The API of files of orders: bringing one in, what its columns are called, the template, an order as a file."""

from __future__ import annotations

import hashlib
import json
from typing import Any

from django.utils import timezone
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework.decorators import api_view, parser_classes
from rest_framework.parsers import MultiPartParser
from rest_framework.response import Response

from fittings import api_schema as schema
from fittings import api_schema_intake as intake_schema
from fittings.api import WRITERS
from fittings.downloads import MadeFile, file_response, plain_name
from fittings.geometry import KINDS
from fittings.idempotency import answer_once
from fittings.intake import limits, services
from fittings.intake.cell_errors import cell_errors
from fittings.intake.checking import HEAD_FIELDS, Asked, Found
from fittings.intake.columns import columns, columns_of
from fittings.intake.exporting import order_file
from fittings.intake.matching import LEAVE_OUT, head_words
from fittings.intake.template import template_file
from fittings.models import Order
from shared.api import Parser
from shared.problems import FieldError, NotFound, WrongInput
from shared.roles import actor_of
from shared.sheets import MEDIA_TYPES
from shared.texts import printable

USUAL = ("kind", "material", "gauge", "end_a", "end_b")
YES_NO = {"": False, "false": False, "no": False, "0": False, "true": True, "yes": True, "1": True}
FIELDS = ("file", *HEAD_FIELDS, *USUAL, "unit", "columns", "again", "check")
FORM = OpenApiParameter("form", OpenApiTypes.STR, OpenApiParameter.PATH, enum=list(MEDIA_TYPES))
FILES = {(200, media_type.partition(";")[0]): OpenApiTypes.BINARY for media_type in MEDIA_TYPES.values()}


@extend_schema(
    methods=["GET"],
    operation_id="orders_import_columns",
    tags=["orders"],
    responses=schema.answers(_200=intake_schema.ColumnsOut),
    description="The columns that a file of orders may have, what else their heads may be called, and its limits.",
)
@extend_schema(
    methods=["POST"],
    operation_id="orders_import",
    tags=["orders"],
    parameters=[schema.IDEMPOTENCY_KEY],
    request={"multipart/form-data": intake_schema.ImportIn},
    responses=schema.answers(
        400, 409, 413, 415, 422, _200=intake_schema.ImportOut, _201=intake_schema.ImportOut
    ),
    description="A file of orders, CSV or XLSX, brought in as drafts: whole, or nothing with one error per wrong cell "
    "(`row`, `column`, `value`, `reason`, besides `sheet`, `cell` and `limit`). Heads are matched by sense; `columns` "
    "says what others mean. The same content for the same customer again is refused (409) unless `again` is true.",
)
@api_view(["GET", "POST"])
@parser_classes([MultiPartParser, Parser])
def orders_import(request):
    """A file of orders: its columns, and bringing one in."""
    actor = actor_of(request, *WRITERS)
    if request.method == "GET":
        return Response(_columns_answer())
    upload, asked, said, again, only_checks = _read(request)
    content = upload.read(limits.MOST_PACKED + 1)
    digest = hashlib.sha256(content).hexdigest()

    def before() -> tuple[services.Intake, Found]:
        deadline = services.deadline_now()
        intake = services.intake_read(content, name=upload.name, asked=asked, deadline=deadline)
        intake.said = said
        found, _ = services.intake_checked(intake, deadline=deadline)
        if found.wrong:
            raise WrongInput(cell_errors(found.wrong, intake.pages), _counted(found))
        return intake, found

    if only_checks:
        intake, found = before()
        return Response(_answer(found, [], intake))

    def make(read):
        intake, found = read
        _, orders = services.intake_import(
            intake=intake, found=found, again=again, actor=actor, now=timezone.now()
        )
        return 201, _answer(found, orders, intake)

    body = {name: request.data[name] for name in request.data if name != "file"} | {"file": digest}
    return answer_once(request, actor, make, before=before, body=body)


@extend_schema(
    operation_id="orders_import_template",
    tags=["orders"],
    parameters=[FORM],
    responses=schema.answers(404) | FILES,
    description="The file to begin with, in the shop's unit: XLSX with one wide sheet and one a kind, or the wide as "
    "CSV. Rows with the tag EXAMPLE are not taken in.",
)
@api_view(["GET"])
def import_template(request, form: str):
    """The template of a file of orders."""
    actor_of(request, *WRITERS)
    return file_response(template_as(form))


@extend_schema(
    operation_id="orders_lines_file",
    tags=["orders"],
    parameters=[schema.ORDER_NUMBER, FORM],
    responses=schema.answers(404) | FILES,
    description="The order as a file that the import takes; brought in, it makes an equal order under the next number.",
)
@api_view(["GET"])
def order_lines_file(request, number: str, form: str):
    """An order as CSV or XLSX."""
    actor_of(request, *WRITERS)
    return file_response(order_as(number, form))


def template_as(form: str) -> MadeFile:
    return MadeFile(f"orders-template.{form}", _media_type(form), template_file(form))


def order_as(number: str, form: str) -> MadeFile:
    media_type = _media_type(form)
    return MadeFile(f"{plain_name('order', number)}.{form}", media_type, order_file(number, form))


def _media_type(form: str) -> str:
    if form not in MEDIA_TYPES:
        raise NotFound(f"There is no such form of file. There are {', '.join(MEDIA_TYPES)}.")
    return MEDIA_TYPES[form]


# -- reading the request --------------------------------------------------------


def _read(request) -> tuple[Any, Asked, dict[str, str], bool, bool]:
    """The file and what stands beside it. raises WrongInput naming every wrong field"""
    data, errors = request.data, []

    def wrong(name: str, value: Any, limit: str, message: str = "") -> None:
        title = name.replace("_", " ").capitalize()
        message = message or f"{title} is “{printable(str(value))[:40]}”; it can be {limit}."
        errors.append(FieldError(name, printable(value), limit, message))

    upload = request.FILES.get("file")
    if upload is None:
        limit = "a file, sent as multipart/form-data"
        wrong("file", None, limit, f"File is missing; it can be {limit}.")
        data = data if isinstance(data, dict) else {}
    for name in [name for name in data if name not in FIELDS]:
        message = f"“{printable(str(name))[:60]}” is not a field here."
        wrong(str(name)[:60], None, ", ".join(FIELDS), message)
    texts = {name: data.get(name) for name in (*HEAD_FIELDS, *USUAL, "unit", "columns", "again", "check")}
    for name, value in texts.items():
        if value is not None and not isinstance(value, str):
            wrong(name, None, "a text")
            texts[name] = None
        elif value is not None and len(value) > limits.LONGEST_CELL * 20:
            limit = f"a text of at most {limits.LONGEST_CELL * 20} characters"
            wrong(name, value[:40], limit)
            texts[name] = None
    unit = texts["unit"] or "in"
    if unit not in ("in", "mm"):
        wrong("unit", unit, "in, mm")
    for name in ("again", "check"):
        if (texts[name] or "").lower() not in YES_NO:
            wrong(name, texts[name], "true, false")
    said = _columns_said(texts["columns"], wrong)
    if errors:
        raise WrongInput(errors)
    head = {name: texts[name].strip() for name in HEAD_FIELDS if texts[name]}
    usual = {name: texts[name].strip() for name in USUAL if texts[name]}
    flags = [YES_NO[(texts[name] or "").lower()] for name in ("again", "check")]
    return upload, Asked(head, usual, unit), said, flags[0], flags[1]


def _columns_said(text: str | None, wrong) -> dict[str, str]:
    if not text:
        return {}
    limit = "a JSON object of heads and columns' names, null for one that is left out"
    try:
        given = json.loads(text)
    except (ValueError, RecursionError):
        given = None
    if not isinstance(given, dict):
        wrong("columns", text[:40], limit)
        return {}
    said = {}
    for head, name in given.items():
        if name is not None and name not in columns():
            message = f"“{printable(str(name))[:40]}” is no column; there are {', '.join(columns())}."
            wrong("columns", str(name)[:60], "a column's name, or null", message)
        said[head_words(head)[0]] = name or LEAVE_OUT
    return said


# -- answers ----------------------------------------------------------------------


def _counted(found: Found) -> str:
    count = len(found.wrong)
    first = " ".join(one.reason for one in found.wrong[:3])
    return f"{count} {'cell is' if count == 1 else 'cells are'} wrong; nothing was made. {first}"


def _answer(found: Found, orders: list[Order], intake: services.Intake) -> dict[str, Any]:
    rows = []
    for at, one in enumerate(found.orders):
        head = one.order.head
        due = head["due"].isoformat() if head["due"] else None
        number = orders[at].number if orders else head["number"] or None
        rows.append(
            {
                "number": number,
                "customer": head["customer"],
                "purchase_order": head["purchase_order"],
                "due": due,
            }
            | {"lines": len(one.lines), "pieces": one.pieces}
        )
    notes = [*intake.notes, *found.notes]
    return {"orders": rows, "lines": found.lines, "pieces": found.pieces, "notes": notes}


def _columns_answer() -> dict[str, Any]:
    kinds = {name: [] for name in columns()}
    for kind in KINDS.values():
        for column in columns_of(kind):
            kinds[column.name].append(kind.name)
    rows = [
        {
            "name": column.name,
            "head": column.title,
            "heads": list(column.names),
            "reads": column.sort,
            "choices": list(column.choices),
            "help": column.help,
            "kinds": kinds[column.name] or list(KINDS),
        }
        for column in columns().values()
    ]
    most = {
        "bytes": limits.MOST_PACKED,
        "bytes_unpacked": limits.MOST_UNPACKED,
        "rows": limits.MOST_ROWS,
        "columns": limits.MOST_COLUMNS,
        "characters": limits.LONGEST_CELL,
        "seconds": limits.MOST_SECONDS,
    }
    return {"columns": rows, "limits": most}
