"""/api/v1/downtimes/: when stations do not work, for the supervisor."""

from __future__ import annotations

from django.utils import timezone
from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.decorators import api_view
from rest_framework.response import Response

from fittings import api_schema as schema
from fittings.idempotency import answer_once
from fittings.reading import Reading
from shared.api import json_object, paged
from shared.problems import WrongInput
from shared.roles import OFFICE, SUPERVISOR, actor_of
from shopfloor import downtime
from shopfloor.models import Downtime


class DowntimeIn(serializers.Serializer):
    station = serializers.CharField()
    reason = serializers.CharField(required=False, allow_blank=True)
    from_at = serializers.DateTimeField(
        required=False, allow_null=True, help_text="Left out: now. Later: planned."
    )
    until_at = serializers.DateTimeField(
        required=False, allow_null=True, help_text="A planned time needs it."
    )


class DowntimeOut(DowntimeIn):
    id = serializers.IntegerField()
    is_planned = serializers.BooleanField()
    told_at = serializers.DateTimeField()
    told_by = serializers.CharField()
    ended_at = serializers.DateTimeField(allow_null=True)


@extend_schema(
    methods=["GET"],
    operation_id="downtimes_list",
    tags=["supervision"],
    parameters=schema.PAGING,
    responses=schema.answers(404, _200=schema.paged(DowntimeOut)),
    description="Those that last and those that are planned.",
)
@extend_schema(
    methods=["POST"],
    operation_id="downtime_tell",
    tags=["supervision"],
    parameters=[schema.IDEMPOTENCY_KEY],
    request=DowntimeIn,
    responses=schema.answers(400, 404, 409, 422, _201=DowntimeOut),
)
@api_view(["GET", "POST"])
def downtimes(request):
    """Stations that are down, now or planned; or tell of one."""
    now = timezone.now()
    if request.method == "GET":
        actor_of(request, OFFICE, SUPERVISOR)
        return paged(request, downtime.downtimes_open(now=now), _shown)
    actor, body = actor_of(request, SUPERVISOR), json_object(request)
    reading = Reading(body)
    reading.only(("station", "reason", "from_at", "until_at"))
    data = {
        "station": reading.text("station", 20, shortest=1),
        "reason": reading.text("reason", downtime.LONGEST_REASON),
        "from_at": _moment(reading, "from_at"),
        "until_at": _moment(reading, "until_at"),
    }
    if reading.errors:
        raise WrongInput(reading.errors)
    return answer_once(
        request, actor, lambda: (201, _shown(downtime.downtime_tell(**data, actor=actor, now=now)))
    )


@extend_schema(
    operation_id="downtime_end",
    tags=["supervision"],
    request=None,
    responses=schema.answers(404, 409, _200=DowntimeOut),
)
@api_view(["POST"])
def downtime_end(request, pk):
    """The station runs again; what is planned ahead is taken back."""
    actor = actor_of(request, SUPERVISOR)
    return Response(_shown(downtime.downtime_end(pk=pk, actor=actor, now=timezone.now())))


def _moment(reading: Reading, name: str):
    value = reading.data.get(name)
    if value is None:
        return None
    try:
        return serializers.DateTimeField().to_internal_value(value)
    except (serializers.ValidationError, OverflowError):
        reading.wrong(name, str(value)[:40], "a moment as 2026-03-04T13:02:11-05:00")
        return None


def _shown(one: Downtime) -> dict:
    return {
        "id": one.pk,
        "station": one.station.code,
        "reason": one.reason,
        "from_at": one.from_at,
        "until_at": one.until_at,
        "is_planned": one.is_planned,
        "told_at": one.told_at,
        "told_by": one.told_by,
        "ended_at": one.ended_at,
    }
