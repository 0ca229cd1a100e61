"""The API of kept pieces: the list, keeping some, one of them, and what fits a draft."""

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
from fittings.models import KeptPiece
from fittings.selectors import order_by_number
from shared.api import Pages, json_object
from shared.roles import OFFICE, SUPERVISOR, actor_of
from travelers.kept import MOST_NOTE, MOST_PLACE, STATES, kept_by_id, kept_change, kept_listed
from travelers.kept_offers import Offer, kept_offers
from travelers.kept_reading import BY_HAND, MOST_CODES, kept_add_codes, kept_rows


class UsedFor(serializers.Serializer):
    order = serializers.CharField()
    fitting = serializers.CharField(help_text="Code of the fitting that it is (a part of) now.")
    segment = serializers.CharField(allow_null=True, help_text="Code of the segment that it is now.")


class KeptOut(serializers.Serializer):
    id = serializers.IntegerField()
    code = serializers.CharField(help_text="On the piece: its label's, or of a whole fitting its own.")
    is_fitting = serializers.BooleanField(help_text="A whole finished fitting; false: one segment.")
    fitting = serializers.CharField(help_text="Code of the fitting that it was made for.")
    position = serializers.IntegerField(allow_null=True)
    role = serializers.CharField(allow_null=True)
    order = serializers.CharField(help_text="The order that it was made for.")
    kind = serializers.CharField()
    material = serializers.CharField()
    gauge = serializers.IntegerField()
    done = serializers.ListField(child=serializers.CharField(), help_text="Operations that are done of it.")
    place = serializers.CharField(allow_blank=True)
    why = serializers.ChoiceField(choices=KeptPiece.Why.choices)
    note = serializers.CharField(allow_blank=True)
    version = serializers.IntegerField()
    kept_at = serializers.DateTimeField()
    kept_by = serializers.CharField()
    used_at = serializers.DateTimeField(allow_null=True)
    used_by = serializers.CharField(allow_blank=True)
    used_for = UsedFor(allow_null=True)
    ended_at = serializers.DateTimeField(allow_null=True)
    ended_by = serializers.CharField(allow_blank=True)
    ended_why = serializers.CharField(allow_blank=True, help_text="scrapped, lost; blank while it is kept.")


class KeepIn(serializers.Serializer):
    codes = serializers.ListField(child=serializers.CharField(), min_length=1, max_length=MOST_CODES)
    why = serializers.ChoiceField(choices=[str(why) for why in BY_HAND])
    place = serializers.CharField(required=False, allow_blank=True, max_length=MOST_PLACE)
    note = serializers.CharField(required=False, allow_blank=True, max_length=MOST_NOTE)


class KeptList(serializers.Serializer):
    kept = KeptOut(many=True)


class KeptChangeIn(serializers.Serializer):
    place = serializers.CharField(required=False, allow_blank=True, max_length=MOST_PLACE)
    note = serializers.CharField(required=False, allow_blank=True, max_length=MOST_NOTE)
    ended = serializers.ChoiceField(
        required=False, choices=KeptPiece.Ended.choices, help_text="It is not there any more."
    )
    version = serializers.IntegerField(required=False, help_text="The one that was seen; stale: 409.")


class KeptOfferOut(serializers.Serializer):
    line = serializers.IntegerField()
    what = serializers.CharField()
    done = serializers.CharField()
    place = serializers.CharField(allow_blank=True)
    needed = serializers.IntegerField(help_text="How many of them the line needs.")
    ids = serializers.ListField(child=serializers.IntegerField(), help_text="For `use_kept` of the release.")


class KeptOffersOut(serializers.Serializer):
    order = serializers.CharField()
    offers = KeptOfferOut(many=True)


@extend_schema(
    methods=["GET"],
    operation_id="kept_list",
    tags=["stock"],
    parameters=[
        OpenApiParameter("state", OpenApiTypes.STR, enum=STATES, description="kept where left out."),
        OpenApiParameter(
            "q", OpenApiTypes.STR, description="Words: kind, size, gauge, metal, place, order, code."
        ),
        *schema.PAGING,
    ],
    responses=schema.answers(400, 404, _200=schema.paged(KeptOut)),
    description="Finished fittings and good segments that belong to no order, the newest first.",
)
@extend_schema(
    methods=["POST"],
    operation_id="kept_create",
    tags=["stock"],
    parameters=[schema.IDEMPOTENCY_KEY],
    request=KeepIn,
    responses=schema.answers(400, 409, 413, 415, 422, _201=KeptList),
    description="Keep the pieces of these codes, all or none: finished fittings of done orders, and segments with at "
    "least one operation done of fittings that are not made any more.",
)
@api_view(["GET", "POST"])
def kept_list(request):
    """Kept pieces: list and keep."""
    actor = actor_of(request, OFFICE, SUPERVISOR)
    if request.method == "GET":
        query = request.query_params
        found = kept_listed(state=query.get("state", "kept"), q=query.get("q", ""))
        pages = Pages()
        return pages.get_paginated_response(kept_rows(pages.paginate_queryset(found, request)))
    body = json_object(request)

    def make():
        made = kept_add_codes(data=body, actor=actor, now=timezone.now())
        found = kept_listed().filter(pk__in=[piece.pk for piece in made]).order_by("pk")
        return 201, {"kept": kept_rows(found)}

    return answer_once(request, actor, make)


@extend_schema(
    methods=["GET"],
    operation_id="kept_retrieve",
    tags=["stock"],
    responses=schema.answers(404, _200=KeptOut),
    description="One kept piece, also once it is used or ended.",
)
@extend_schema(
    methods=["PATCH"],
    operation_id="kept_change",
    tags=["stock"],
    request=KeptChangeIn,
    responses=schema.answers(400, 404, 409, 413, 415, _200=KeptOut),
    description="Move a kept piece, change its note, or end it: scrapped or lost.",
)
@api_view(["GET", "PATCH"])
def kept_detail(request, piece_id: int):
    """One kept piece: read and change."""
    actor = actor_of(request, OFFICE, SUPERVISOR)
    if request.method == "PATCH":
        kept_change(pk=piece_id, data=json_object(request), actor=actor, now=timezone.now())
    return Response(kept_rows([kept_by_id(piece_id)])[0])


@extend_schema(
    operation_id="orders_kept",
    tags=["orders"],
    responses=schema.answers(404, _200=KeptOffersOut),
    description="What of a draft's fittings and segments is kept already and could be used by its release.",
)
@api_view(["GET"])
def order_kept(request, number: str):
    """Kept pieces that fit a draft."""
    actor_of(request, OFFICE, SUPERVISOR)
    order = order_by_number(number)
    offers = [offer_answer(offer) for offer in kept_offers(order)]
    return Response({"order": order.number, "offers": offers})


def offer_answer(offer: Offer) -> dict[str, Any]:
    return {
        "line": offer.line,
        "what": offer.what,
        "done": offer.done,
        "place": offer.place,
        "needed": offer.of,
        "ids": list(offer.ids),
    }
