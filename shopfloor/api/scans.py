"""POST and GET /api/v1/scans/: what the tablets send, and the record that others read."""

from __future__ import annotations

from functools import wraps

from django.conf import settings
from django.http import JsonResponse
from django.utils import timezone
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiParameter, extend_schema, inline_serializer
from rest_framework import serializers
from rest_framework.decorators import api_view
from rest_framework.response import Response

from shared.api import checked_length, read_json
from shared.problems import FieldError, WrongInput
from shared.roles import OFFICE, OPERATOR, SUPERVISOR, Actor, actor_of
from shopfloor.keys import key_of_request
from shopfloor.models import Station
from travelers.history import record_page
from travelers.record import scan_record
from travelers.state import ACTIONS

MOST_SCANS = 500


class ScanIn(serializers.Serializer):
    id = serializers.CharField(help_text="Made by the tablet; the idempotency key.")
    code = serializers.CharField()
    action = serializers.ChoiceField(ACTIONS)
    count = serializers.IntegerField(allow_null=True, required=False)
    badge = serializers.CharField(required=False)
    reason = serializers.CharField(required=False, allow_blank=True)
    undoes = serializers.CharField(required=False, help_text="The id that an undo cancels.")
    station = serializers.CharField(required=False, help_text="Only a supervisor names one.")
    scanned_at = serializers.DateTimeField()


class ScanOut(serializers.Serializer):
    id = serializers.CharField()
    outcome = serializers.ChoiceField(["recorded", "repeated", "refused"])
    first_outcome = serializers.ChoiceField(["recorded", "refused"])
    message = serializers.CharField()
    code = serializers.CharField()
    operation = serializers.CharField()
    changed = serializers.IntegerField(help_text="Tasks changed.")
    sequence = serializers.IntegerField(allow_null=True)
    reason_code = serializers.CharField(
        allow_blank=True, help_text="Why it was refused, for programs; empty otherwise."
    )


def keyed_first(view):
    """Answers scans sent with a key before the API's machinery starts; problems are answered the same way."""

    @wraps(view)
    def first(request, *args, **kwargs):
        if (
            request.method != "POST"
            or request.content_type != "application/json"
            or not key_of_request(request)
        ):
            return view(request, *args, **kwargs)
        actor = actor_of(request, OPERATOR, SUPERVISOR)
        checked_length(request)
        return JsonResponse(_recorded(actor, read_json(request.read(settings.LONGEST_JSON_BODY + 1))))

    return first


@keyed_first
@extend_schema(
    methods=["POST"],
    tags=["scans"],
    request=inline_serializer("Scans", {"scans": ScanIn(many=True)}),
    responses=inline_serializer("ScanResults", {"results": ScanOut(many=True)}),
)
@extend_schema(
    methods=["GET"],
    tags=["scans"],
    parameters=[
        OpenApiParameter("since", OpenApiTypes.INT, description="Rows after this sequence, oldest first."),
        OpenApiParameter("page_size", OpenApiTypes.INT, description="1 to 500."),
    ],
    responses=OpenApiTypes.OBJECT,
)
@api_view(["GET", "POST"])
def scans(request):
    """Record 1 to 500 scans, in order; or read the append-only record."""
    if request.method == "GET":
        actor_of(request, OFFICE, SUPERVISOR, OPERATOR)
        return Response(record_page(request.query_params))
    return Response(_recorded(actor_of(request, OPERATOR, SUPERVISOR), request.data))


def _recorded(actor: Actor, body) -> dict:
    known: dict[str, tuple[str, ...] | None] = {}
    results = [
        scan_record(delivery=delivery, actor=actor, now=timezone.now(), station_operations=_operations(known))
        for delivery in _deliveries(body)
    ]
    return {"results": [result.as_dict() for result in results]}


def _deliveries(body) -> list:
    found = body.get("scans") if isinstance(body, dict) else None
    if not isinstance(found, list) or not 1 <= len(found) <= MOST_SCANS:
        given = len(found) if isinstance(found, list) else found
        limit = f"a list of 1 to {MOST_SCANS} scans"
        raise WrongInput(
            [FieldError("scans", given, limit, f"scans is {str(given)[:40]}; it can be {limit}.")]
        )
    return found


def _operations(known: dict):
    def operations_of(code: str):
        if code not in known:
            row = (
                Station.objects.filter(code=code, is_active=True).values_list("operations", flat=True).first()
            )
            known[code] = None if row is None else tuple(row)
        return known[code]

    return operations_of
