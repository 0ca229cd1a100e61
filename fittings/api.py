"""The API of this package: development, orders, customers, shop tables, kinds."""

from __future__ import annotations

from django.utils import timezone
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework.decorators import api_view
from rest_framework.response import Response

from fittings import api_schema as schema
from fittings import orders, selectors, services
from fittings.developing import development_answer
from fittings.downloads import (
    FORMS,
    MOST_PATTERNS,
    file_response,
    fitting_file,
    order_patterns_zip,
    unit_asked,
)
from fittings.geometry import KINDS
from fittings.idempotency import answer_once
from fittings.models import Order
from fittings.reading import development_asked
from shared.api import json_object, paged
from shared.problems import FieldError, WrongInput
from shared.roles import DISPLAY, OFFICE, OPERATOR, SUPERVISOR, actor_of
from shared.texts import printable

ANYONE = (OFFICE, SUPERVISOR, OPERATOR, DISPLAY)
WRITERS = (OFFICE, SUPERVISOR)


# -- development -------------------------------------------------------------


@extend_schema(
    operation_id="develop",
    tags=["develop"],
    parameters=[
        OpenApiParameter(
            "format",
            OpenApiTypes.STR,
            enum=["json", *FORMS],
            description="dxf, svg and pdf answer the flat patterns at full scale, in the unit of the request.",
        )
    ],
    request=schema.DevelopIn,
    responses=schema.answers(400, 413, 415, _200=schema.DevelopOut)
    | {(200, form.media_type): OpenApiTypes.BINARY for form in FORMS.values()},
)
@api_view(["POST"])
def develop(request):
    """One fitting, computed and not stored: dimensions, flat patterns, areas, weight, warnings."""
    actor_of(request, *ANYONE)
    body = json_object(request)
    answer_as = request.query_params.get("format", "json")
    if answer_as not in ("json", *FORMS):
        limit = ", ".join(("json", *FORMS))
        message = f"Format is “{printable(answer_as)[:40]}”; it can be {limit}."
        raise WrongInput([FieldError("format", printable(answer_as), limit, message)])
    dev = development_asked(body)
    if answer_as == "json":
        return Response(development_answer(dev, dev.unit))
    return file_response(fitting_file(dev, answer_as, dev.unit))


# -- orders ------------------------------------------------------------------


@extend_schema(
    methods=["GET"],
    operation_id="orders_list",
    tags=["orders"],
    parameters=[
        OpenApiParameter(
            "q", OpenApiTypes.STR, description="Part of a number, customer, purchase order or tag."
        ),
        OpenApiParameter("state", OpenApiTypes.STR, enum=Order.State.values),
        *schema.PAGING,
    ],
    responses=schema.answers(400, 404, _200=schema.paged(schema.OrderListed)),
    description="Orders, the newest first.",
)
@extend_schema(
    methods=["POST"],
    operation_id="orders_create",
    tags=["orders"],
    parameters=[schema.IDEMPOTENCY_KEY],
    request=schema.OrderIn,
    responses=schema.answers(400, 409, 413, 415, 422, _201=schema.OrderOut),
    description="A new draft order. Every line is developed first: one that cannot be made is refused.",
)
@api_view(["GET", "POST"])
def order_list(request):
    """Orders: list and create."""
    actor = actor_of(request, *WRITERS)
    if request.method == "GET":
        query = request.query_params
        found = selectors.orders_found(q=query.get("q", ""), state=query.get("state", ""))
        return paged(request, found, selectors.order_row)
    body = json_object(request)

    def make(given):
        made = orders.order_create(data=given, actor=actor, now=timezone.now())
        return 201, selectors.order_answer(made, body.get("unit") or "in")

    return answer_once(request, actor, make, before=lambda: orders.order_read(body))


@extend_schema(
    methods=["GET"],
    operation_id="orders_retrieve",
    tags=["orders"],
    parameters=[schema.ORDER_NUMBER],
    responses=schema.answers(404, _200=schema.OrderOut),
    description="An order with its lines, lengths in inches.",
)
@extend_schema(
    methods=["PATCH"],
    operation_id="orders_change",
    tags=["orders"],
    parameters=[schema.ORDER_NUMBER],
    request=schema.OrderChangeIn,
    responses=schema.answers(400, 404, 409, 413, 415, _200=schema.OrderOut),
    description="Change the fields that are given. `version` is the one that you saw; a stale one is refused, "
    "naming what changed since. Of a released order only purchase_order, due, priority and notes can change.",
)
@api_view(["GET", "PATCH"])
def order_detail(request, number: str):
    """One order: read and change."""
    actor = actor_of(request, *WRITERS)
    if request.method == "GET":
        return Response(selectors.order_answer(number))
    body = json_object(request)
    changed = orders.order_update(number=number, data=body, actor=actor, now=timezone.now())
    return Response(selectors.order_answer(changed, body.get("unit") or "in"))


@extend_schema(
    operation_id="orders_patterns",
    tags=["orders"],
    parameters=[
        schema.ORDER_NUMBER,
        OpenApiParameter(
            "unit", OpenApiTypes.STR, enum=schema.UNIT, description="Of the files; in where left out."
        ),
    ],
    responses=schema.answers(400, 404, 409, 413) | {(200, "application/zip"): OpenApiTypes.BINARY},
    description="All flat patterns of the order at full scale: a ZIP with a DXF for each different pattern, equal ones "
    "of all lines counted together, named by code, quantity, role and metal, and `patterns.csv`, which lists them. "
    "A released order's come from what was frozen at release, a draft's from the tables in force; a cancelled order "
    f"has none (409). At most {MOST_PATTERNS} different patterns (413). The same order gives the same bytes.",
)
@api_view(["GET"])
def order_patterns(request, number: str):
    """Every pattern of an order as one ZIP of DXF files."""
    actor_of(request, *WRITERS)
    return file_response(order_patterns_zip(number, unit_asked(request.query_params.get("unit"))))


# -- customers ---------------------------------------------------------------


@extend_schema(
    methods=["GET"],
    operation_id="customers_list",
    tags=["customers"],
    parameters=[
        OpenApiParameter("q", OpenApiTypes.STR, description="Part of a name or contact."),
        *schema.PAGING,
    ],
    responses=schema.answers(404, _200=schema.paged(schema.CustomerOut)),
    description="Customers by name.",
)
@extend_schema(
    methods=["POST"],
    operation_id="customers_create",
    tags=["customers"],
    parameters=[schema.IDEMPOTENCY_KEY],
    request=schema.CustomerIn,
    responses=schema.answers(400, 409, 413, 415, 422, _201=schema.CustomerOut),
    description="A new customer.",
)
@api_view(["GET", "POST"])
def customer_list(request):
    """Customers: list and create."""
    actor = actor_of(request, *WRITERS)
    if request.method == "GET":
        found = selectors.customers_found(q=request.query_params.get("q", ""))
        return paged(request, found, selectors.customer_answer)
    body = json_object(request)

    def make():
        made = services.customer_create(data=body, actor=actor, now=timezone.now())
        return 201, selectors.customer_answer(made)

    return answer_once(request, actor, make)


@extend_schema(
    methods=["GET"],
    operation_id="customers_retrieve",
    tags=["customers"],
    responses=schema.answers(404, _200=schema.CustomerOut),
    description="One customer.",
)
@extend_schema(
    methods=["PATCH"],
    operation_id="customers_change",
    tags=["customers"],
    request=schema.CustomerChangeIn,
    responses=schema.answers(400, 404, 409, 413, 415, _200=schema.CustomerOut),
    description="Change the fields that are given.",
)
@api_view(["GET", "PATCH"])
def customer_detail(request, customer_id: int):
    """One customer: read and change."""
    actor = actor_of(request, *WRITERS)
    if request.method == "GET":
        return Response(selectors.customer_answer(selectors.customer_by_id(customer_id)))
    changed = services.customer_update(
        customer_id=customer_id, data=json_object(request), actor=actor, now=timezone.now()
    )
    return Response(selectors.customer_answer(changed))


# -- shop tables and kinds ---------------------------------------------------


@extend_schema(
    operation_id="tables_list",
    tags=["tables"],
    parameters=schema.PAGING,
    responses=schema.answers(404, _200=schema.paged(schema.TableRow)),
)
@api_view(["GET"])
def table_list(request):
    """The shop's tables, their columns and the version in force."""
    actor_of(request, *WRITERS)
    return paged(request, selectors.tables_listed())


@extend_schema(
    methods=["GET"],
    operation_id="tables_retrieve",
    tags=["tables"],
    parameters=[
        OpenApiParameter("version", OpenApiTypes.INT, description="An older version; left out: in force.")
    ],
    responses=schema.answers(400, 404, _200=schema.TableOut),
    description="One version of a shop table, with its rows.",
)
@extend_schema(
    methods=["POST"],
    operation_id="tables_change",
    tags=["tables"],
    parameters=[schema.IDEMPOTENCY_KEY],
    request=schema.TableIn,
    responses=schema.answers(400, 404, 409, 413, 415, 422, _201=schema.TableOut),
    description="A new version, whole. Older versions stay: a released order keeps the one it was made with.",
)
@api_view(["GET", "POST"])
def table_detail(request, name: str):
    """One shop table: read and change."""
    actor = actor_of(request, *WRITERS)
    if request.method == "GET":
        return Response(selectors.table_answer(name, _asked_version(request)))
    body = json_object(request)

    def make():
        made = services.table_change(name=name, data=body, actor=actor, now=timezone.now())
        return 201, selectors.table_answer(name, made.number)

    return answer_once(request, actor, make)


@extend_schema(
    operation_id="kinds_list",
    tags=["develop"],
    parameters=schema.PAGING,
    responses=schema.answers(404, _200=schema.paged(schema.KindOut)),
)
@api_view(["GET"])
def kind_list(request):
    """The kinds of fittings, each with its parameters and their ranges (lengths in inches)."""
    actor_of(request, *ANYONE)
    return paged(request, list(KINDS.values()), selectors.kind_answer)


def _asked_version(request) -> int | None:
    text = request.query_params.get("version")
    if text is None:
        return None
    if not (text.isascii() and text.isdecimal() and 1 <= len(text) <= 9):
        message = "Version can be a whole number from 1."
        raise WrongInput([FieldError("version", text[:40], "a whole number from 1", message)])
    return int(text)
