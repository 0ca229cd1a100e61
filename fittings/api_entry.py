"""The API of favourites, and of an order copied."""

from __future__ import annotations

from django.utils import timezone
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework import serializers
from rest_framework.decorators import api_view
from rest_framework.response import Response

from fittings import api_schema as schema
from fittings import favourites
from fittings.api import WRITERS
from fittings.api_schema_develop import UNIT, Spec
from fittings.idempotency import answer_once
from fittings.models import OrderLine
from fittings.order_copy import order_copy
from fittings.selectors import order_answer
from shared.api import json_object, paged
from shared.roles import actor_of


class FavouriteLine(Spec):
    traveler_per = serializers.ChoiceField(choices=OrderLine.TravelerPer.choices, required=False)


class FavouriteIn(serializers.Serializer):
    name = serializers.CharField(max_length=60, help_text="The same name for the same customer is kept anew.")
    customer = serializers.CharField(
        required=False, allow_blank=True, max_length=120, help_text="Whose it is; left out: for all."
    )
    line = FavouriteLine()
    unit = serializers.ChoiceField(choices=UNIT, required=False, default="in")


class FavouriteOut(serializers.Serializer):
    id = serializers.IntegerField()
    name = serializers.CharField()
    customer = serializers.CharField(allow_blank=True)
    line = FavouriteLine(help_text="Lengths in inches.")
    made_by = serializers.CharField()
    made_at = serializers.DateTimeField()


class OrderCopyIn(schema.OrderHead):
    number = serializers.CharField(required=False, max_length=30, help_text="Left out: the next free one.")
    customer = serializers.CharField(required=False, max_length=120, help_text="Left out: the same.")


@extend_schema(
    methods=["GET"],
    operation_id="favourites_list",
    tags=["orders"],
    parameters=[
        OpenApiParameter("customer", OpenApiTypes.STR, description="This customer's and those for all."),
        OpenApiParameter("q", OpenApiTypes.STR, description="Part of a name."),
        *schema.PAGING,
    ],
    responses=schema.answers(404, _200=schema.paged(FavouriteOut)),
    description="Fittings kept under a name.",
)
@extend_schema(
    methods=["POST"],
    operation_id="favourites_keep",
    tags=["orders"],
    parameters=[schema.IDEMPOTENCY_KEY],
    request=FavouriteIn,
    responses=schema.answers(400, 409, 413, 415, 422, _201=FavouriteOut),
    description="Keep a fitting under a name. It is developed first: one that cannot be made is refused.",
)
@api_view(["GET", "POST"])
def favourite_list(request):
    """Favourites: list and keep."""
    actor = actor_of(request, *WRITERS)
    if request.method == "GET":
        query = request.query_params
        found = favourites.favourites_found(customer=query.get("customer"), q=query.get("q", ""))
        return paged(request, found, favourites.favourite_answer)
    body = json_object(request)

    def make():
        made = favourites.favourite_keep(data=body, actor=actor, now=timezone.now())
        return 201, favourites.favourite_answer(made)

    return answer_once(request, actor, make)


@extend_schema(
    methods=["GET"],
    operation_id="favourites_retrieve",
    tags=["orders"],
    responses=schema.answers(404, _200=FavouriteOut),
    description="One favourite.",
)
@extend_schema(
    methods=["DELETE"],
    operation_id="favourites_remove",
    tags=["orders"],
    responses=schema.answers(404) | {204: None},
    description="Take it off the list; orders that were made with it stay as they are.",
)
@api_view(["GET", "DELETE"])
def favourite_detail(request, favourite_id: int):
    """One favourite: read and remove."""
    actor = actor_of(request, *WRITERS)
    if request.method == "GET":
        return Response(favourites.favourite_answer(favourites.favourite_by_id(favourite_id)))
    favourites.favourite_remove(favourite_id=favourite_id, actor=actor, now=timezone.now())
    return Response(status=204)


@extend_schema(
    operation_id="orders_copy",
    tags=["orders"],
    parameters=[schema.ORDER_NUMBER, schema.IDEMPOTENCY_KEY],
    request=OrderCopyIn,
    responses=schema.answers(400, 404, 409, 413, 415, 422, _201=schema.OrderOut),
    description="A new draft with the lines of this order, whatever its state, under a head of its own.",
)
@api_view(["POST"])
def order_copied(request, number: str):
    """An order once more, as a new draft."""
    actor = actor_of(request, *WRITERS)
    body = json_object(request)

    def make():
        made = order_copy(number=number, data=body, actor=actor, now=timezone.now())
        return 201, order_answer(made)

    return answer_once(request, actor, make)
