"""The API of the stock on hand."""

from __future__ import annotations

from django.utils import timezone
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework.decorators import api_view
from rest_framework.response import Response

from fittings import api_schema as schema
from fittings import api_schema_stock as stock_schema
from fittings import stock
from fittings.api import WRITERS
from fittings.downloads import unit_asked
from fittings.idempotency import answer_once
from fittings.models import StockItem
from shared.api import json_object, paged
from shared.problems import FieldError, WrongInput
from shared.roles import actor_of

UNIT_ASKED = OpenApiParameter(
    "unit", OpenApiTypes.STR, enum=schema.UNIT, description="Of the answer; in where left out."
)
YES_NO = {"": False, "false": False, "true": True}


@extend_schema(
    methods=["GET"],
    operation_id="stock_list",
    tags=["stock"],
    parameters=[
        OpenApiParameter("material", OpenApiTypes.STR),
        OpenApiParameter("gauge", OpenApiTypes.INT),
        OpenApiParameter("form", OpenApiTypes.STR, enum=StockItem.Form.values),
        OpenApiParameter("retired", OpenApiTypes.BOOL, description="true: what is no longer used instead."),
        UNIT_ASKED,
        *schema.PAGING,
    ],
    responses=schema.answers(400, 404, _200=schema.paged(stock_schema.StockOut)),
    description="The stock by metal: sheets, then coils, then remnants.",
)
@extend_schema(
    methods=["POST"],
    operation_id="stock_create",
    tags=["stock"],
    parameters=[schema.IDEMPOTENCY_KEY],
    request=stock_schema.StockIn,
    responses=schema.answers(400, 409, 413, 415, 422, _201=stock_schema.StockOut),
    description="A new sheet size, coil or remnant. A metal has a size once; a remnant gets a code.",
)
@api_view(["GET", "POST"])
def stock_list(request):
    """Stock: list and create."""
    actor = actor_of(request, *WRITERS)
    if request.method == "GET":
        query = request.query_params
        unit = unit_asked(query.get("unit"))
        found = stock.stock_listed(
            material=query.get("material", ""),
            gauge=query.get("gauge", ""),
            form=query.get("form", ""),
            is_retired=_is_retired(query.get("retired", "")),
        )
        return paged(request, found, lambda item: stock.stock_answer(item, unit))
    body = json_object(request)

    def make():
        made = stock.stock_create(values=body, actor=actor, now=timezone.now())
        return 201, stock.stock_answer(made, body.get("unit") or "in")

    return answer_once(request, actor, make)


@extend_schema(
    methods=["GET"],
    operation_id="stock_retrieve",
    tags=["stock"],
    parameters=[UNIT_ASKED],
    responses=schema.answers(400, 404, _200=stock_schema.StockOut),
    description="One stock item.",
)
@extend_schema(
    methods=["PATCH"],
    operation_id="stock_change",
    tags=["stock"],
    request=stock_schema.StockChangeIn,
    responses=schema.answers(400, 404, 409, 413, 415, _200=stock_schema.StockOut),
    description="Change the fields that are given; form and metal stay. `version` is the one that you saw; a stale "
    "one is refused. `is_active` false retires the item.",
)
@api_view(["GET", "PATCH"])
def stock_detail(request, item_id: int):
    """One stock item: read and change."""
    actor = actor_of(request, *WRITERS)
    if request.method == "GET":
        unit = unit_asked(request.query_params.get("unit"))
        return Response(stock.stock_answer(stock.stock_by_id(item_id), unit))
    body = json_object(request)
    stock.stock_change(pk=item_id, values=body, actor=actor, now=timezone.now())
    return Response(stock.stock_answer(stock.stock_by_id(item_id), body.get("unit") or "in"))


def _is_retired(text: str) -> bool:
    if text not in YES_NO:
        limit = "true or false"
        raise WrongInput([FieldError("retired", text[:40], limit, f"Retired can be {limit}.")])
    return YES_NO[text]
