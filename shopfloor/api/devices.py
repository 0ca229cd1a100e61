"""What a station's tablet asks for: its queue, and one piece. With the station's key alone."""

from __future__ import annotations

from django.utils import timezone
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import extend_schema, inline_serializer
from rest_framework import serializers
from rest_framework.decorators import api_view
from rest_framework.response import Response

from fittings import api_schema as schema
from shared.api import json_object
from shared.roles import OPERATOR, actor_of
from shopfloor.downtime import runs_words, station_down, station_up, words
from shopfloor.presence import HEADERS, presence_note, report_read
from shopfloor.tablet import piece_data, station_data
from travelers.languages import shop_language, speaking
from travelers.models import Operator

FRESH = {"Cache-Control": "no-store"}


@extend_schema(
    operation_id="station_queue", tags=["station"], parameters=HEADERS, responses=OpenApiTypes.OBJECT
)
@api_view(["GET"])
def station_queue(request):
    """The station, its badges and cautions, and the pieces that are next here."""
    actor = actor_of(request, OPERATOR)
    presence_note(actor=actor, report=report_read(request.headers), now=timezone.now())
    return Response(station_data(actor), headers=FRESH)


BADGE = serializers.CharField(help_text="The badge that is in.")
TOLD = inline_serializer("StationTold", {"words": serializers.CharField()})


@extend_schema(
    operation_id="station_down",
    tags=["station"],
    request=inline_serializer(
        "StationDown",
        {
            "badge": BADGE,
            "reason": serializers.CharField(required=False, allow_blank=True),
            "minutes": serializers.IntegerField(
                allow_null=True, required=False, help_text="Until it runs again."
            ),
        },
    ),
    responses=schema.answers(400, 409, _200=TOLD),
)
@api_view(["POST"])
def station_is_down(request):
    """The station does not work: board, what if and promises take it into account."""
    actor, body, now = actor_of(request, OPERATOR), json_object(request), timezone.now()
    badge = _text(body, "badge")
    with speaking(_language(badge)):
        told = station_down(
            code=actor.station,
            badge=badge,
            reason=_text(body, "reason"),
            minutes=body.get("minutes"),
            actor=actor,
            now=now,
        )
        return Response({"words": words(told, now=now)})


@extend_schema(
    operation_id="station_up",
    tags=["station"],
    request=inline_serializer("StationUp", {"badge": BADGE}),
    responses=schema.answers(400, 409, _200=TOLD),
)
@api_view(["POST"])
def station_runs(request):
    """The station runs again."""
    actor, badge = actor_of(request, OPERATOR), _text(json_object(request), "badge")
    with speaking(_language(badge)):
        station_up(code=actor.station, badge=badge, actor=actor, now=timezone.now())
        return Response({"words": runs_words(actor.station)})


def _text(body: dict, name: str) -> str:
    value = body.get(name)
    return value if isinstance(value, str) else ""


def _language(badge: str) -> str:
    found = Operator.objects.filter(code=badge).values_list("language", flat=True).first()
    return found or shop_language()


@extend_schema(operation_id="station_piece", tags=["station"], responses=OpenApiTypes.OBJECT)
@api_view(["GET"])
def station_piece(request, code):
    """One piece by any of its codes, with the numbers that matter at this station."""
    return Response(piece_data(code, actor_of(request, OPERATOR)), headers=FRESH)
