"""The API of deliveries: what left of an order, and who took it over."""

from __future__ import annotations

from typing import Any

from django.utils import timezone
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework import serializers
from rest_framework.decorators import api_view
from rest_framework.response import Response

from fittings import api_schema as schema
from fittings.idempotency import answer_once
from fittings.selectors import order_by_number
from shared.api import json_object, paged
from shared.problems import FieldError, WrongInput
from shared.roles import OFFICE, OPERATOR, SUPERVISOR, actor_of
from travelers import letters, shipping
from travelers.api import pdf_response
from travelers.documents.delivery_note import BOX

SHIPPERS = (OFFICE, SUPERVISOR, OPERATOR)
"""A tablet shows a delivery and takes the signature; only office and supervisor put one together."""
DELIVERY_NUMBER = OpenApiParameter(
    "delivery", OpenApiTypes.INT, OpenApiParameter.PATH, description="Of the order's deliveries, from 1."
)


class WantedLine(serializers.Serializer):
    line = serializers.IntegerField(min_value=1)
    quantity = serializers.IntegerField(min_value=0)


class DeliveryIn(serializers.Serializer):
    lines = WantedLine(
        many=True, required=False, help_text="Left out: all that is finished and on no delivery."
    )
    notes = serializers.CharField(
        required=False, allow_blank=True, max_length=shipping.LONGEST_NOTES, help_text="Printed on the note."
    )


class ReceivedIn(serializers.Serializer):
    name = serializers.CharField(max_length=shipping.LONGEST_NAME, help_text="Who took it over.")
    strokes = serializers.ListField(
        child=serializers.ListField(child=serializers.ListField(child=serializers.FloatField())),
        required=False,
        help_text=f"The signature: strokes of [x, y] in a box of {BOX[0]:g} by {BOX[1]:g}, y downwards; "
        f"{shipping.MOST_POINTS} points at most. Left out where it was signed on paper.",
    )


class DeliveredLine(serializers.Serializer):
    line = serializers.IntegerField()
    quantity = serializers.IntegerField()
    fittings = serializers.ListField(child=serializers.CharField(), help_text="Codes.")


class DeliveryOut(serializers.Serializer):
    order = serializers.CharField()
    number = serializers.IntegerField()
    made_at = serializers.DateTimeField()
    made_by = serializers.CharField()
    notes = serializers.CharField(allow_blank=True)
    lines = DeliveredLine(many=True)
    received_at = serializers.DateTimeField(allow_null=True)
    received_by = serializers.CharField(allow_blank=True)
    handed_over_by = serializers.CharField(allow_blank=True)
    is_signed_here = serializers.BooleanField(help_text="On a tablet, not on paper.")
    taken_back_at = serializers.DateTimeField(allow_null=True)


@extend_schema(
    operation_id="deliveries_open",
    tags=["deliveries"],
    parameters=schema.PAGING,
    responses=schema.answers(404, _200=schema.paged(DeliveryOut)),
    description="Deliveries that wait to be received, the oldest first.",
)
@api_view(["GET"])
def open_list(request):
    """What waits to be received."""
    actor_of(request, *SHIPPERS)
    return paged(request, shipping.deliveries_open(), shipping.delivery_answer)


@extend_schema(
    methods=["GET"],
    operation_id="orders_deliveries",
    tags=["deliveries"],
    parameters=[schema.ORDER_NUMBER],
    responses=schema.answers(404, _200=DeliveryOut(many=True)),
    description="All deliveries of an order, those taken back too.",
)
@extend_schema(
    methods=["POST"],
    operation_id="orders_deliver",
    tags=["deliveries"],
    parameters=[schema.ORDER_NUMBER, schema.IDEMPOTENCY_KEY],
    request=DeliveryIn,
    responses=schema.answers(400, 404, 409, 413, 415, 422, _201=DeliveryOut),
    description="Finished fittings leave together, the lowest numbers of each line first.",
)
@api_view(["GET", "POST"])
def order_deliveries(request, number: str):
    """Deliveries of an order: list and make."""
    actor = actor_of(request, OFFICE, SUPERVISOR)
    if request.method == "GET":
        order = order_by_number(number)
        rows = order.deliveries.select_related("order").order_by("number")
        return Response([shipping.delivery_answer(row) for row in rows])
    body = json_object(request) if request.data else {}
    wanted = _wanted(body.get("lines"))

    def make():
        made = shipping.delivery_make(
            number=number, wanted=wanted, notes=body.get("notes", ""), actor=actor, now=timezone.now()
        )
        return 201, shipping.delivery_answer(made)

    return answer_once(request, actor, make)


def _wanted(lines: Any) -> dict[int, int] | None:
    if lines is None:
        return None
    limit = "lines of a line's number and a quantity from 0"
    whole = [
        isinstance(row, dict)
        and all(type(row.get(name)) is int for name in ("line", "quantity"))
        and row["quantity"] >= 0
        for row in (lines if isinstance(lines, list) else [None])
    ]
    if not all(whole):
        at = whole.index(False)
        message = f"Entry {at + 1} of the lines is not a line's number and a quantity from 0."
        raise WrongInput([FieldError(f"lines[{at}]", None, limit, message)])
    found: dict[int, int] = {}
    for row in lines:
        found[row["line"]] = found.get(row["line"], 0) + row["quantity"]
    return found


@extend_schema(
    operation_id="orders_delivery",
    tags=["deliveries"],
    parameters=[schema.ORDER_NUMBER, DELIVERY_NUMBER],
    responses=schema.answers(404, _200=DeliveryOut),
)
@api_view(["GET"])
def order_delivery(request, number: str, delivery: int):
    """One delivery."""
    actor_of(request, *SHIPPERS)
    return Response(shipping.delivery_answer(shipping.delivery_by_number(number, delivery)))


@extend_schema(
    operation_id="orders_delivery_receive",
    tags=["deliveries"],
    parameters=[schema.ORDER_NUMBER, DELIVERY_NUMBER, schema.IDEMPOTENCY_KEY],
    request=ReceivedIn,
    responses=schema.answers(400, 404, 409, 413, 415, 422, _200=DeliveryOut),
    description="The customer took the delivery over: name and, unless it was signed on paper, signature. Once.",
)
@api_view(["POST"])
def order_delivery_receive(request, number: str, delivery: int):
    """Who took it over."""
    actor = actor_of(request, *SHIPPERS)
    body = json_object(request)

    def make():
        found = shipping.delivery_by_number(number, delivery)
        received = shipping.delivery_receive(
            pk=found.pk,
            name=body.get("name", ""),
            strokes=body.get("strokes") or (),
            station=actor.station,
            actor=actor,
            now=timezone.now(),
        )
        return 200, shipping.delivery_answer(received)

    return answer_once(request, actor, make)


@extend_schema(
    operation_id="orders_delivery_take_back",
    tags=["deliveries"],
    parameters=[schema.ORDER_NUMBER, DELIVERY_NUMBER],
    request=None,
    responses=schema.answers(404, 409, _200=DeliveryOut),
    description="A delivery that did not leave. Its fittings can go on another one.",
)
@api_view(["POST"])
def order_delivery_take_back(request, number: str, delivery: int):
    """It did not leave."""
    actor = actor_of(request, OFFICE, SUPERVISOR)
    found = shipping.delivery_by_number(number, delivery)
    made = shipping.delivery_take_back(pk=found.pk, actor=actor, now=timezone.now())
    return Response(shipping.delivery_answer(made))


@extend_schema(
    operation_id="orders_delivery_note_pdf",
    tags=["papers"],
    parameters=[schema.ORDER_NUMBER, DELIVERY_NUMBER],
    responses={(200, "application/pdf"): OpenApiTypes.BINARY, **schema.answers(404, 409)},
)
@api_view(["GET"])
def order_delivery_note(request, number: str, delivery: int):
    """The delivery note, with the signature once it is received."""
    actor_of(request, *SHIPPERS)
    found = shipping.delivery_by_number(number, delivery)
    return pdf_response(
        letters.delivery_note(found, now=timezone.now()), f"delivery-note-{number}-{delivery}.pdf"
    )
