"""POST and GET /api/v1/scans/: what the tablets send, and the record that others read."""

from __future__ import annotations

from functools import cache, wraps

from django.conf import settings
from django.db import OperationalError
from django.http import JsonResponse
from django.utils import timezone
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiParameter, extend_schema, inline_serializer
from rest_framework import serializers
from rest_framework.decorators import api_view
from rest_framework.response import Response

from fittings import api_schema as schema
from shared.api import read_json
from shared.middleware import is_busy
from shared.problems import Busy, FieldError, WrongInput
from shared.roles import OFFICE, OPERATOR, SUPERVISOR, Actor, actor_of
from shared.way import hurried
from shopfloor.keys import key_of_request
from shopfloor.models import Station
from shopfloor.presence import HEADERS, presence_note, report_read
from shopfloor.scan_numbers import numbers_note, numbers_of
from shopfloor.tablet import limits_of
from travelers.api_schema import RecordPage
from travelers.history import record_page
from travelers.limits import Limits
from travelers.record import scans_record
from travelers.scan_reading import LAST_NUMBER
from travelers.state import ACTIONS

MOST_SCANS = 500
AGAIN = "The database is busy. Send these scans again; none is recorded twice."


class ScanIn(serializers.Serializer):
    id = serializers.CharField(help_text="Made by the tablet; the idempotency key.")
    code = serializers.CharField(
        help_text="Of a segment, a fitting, a lot's traveler, or a sheet of a cut plan (cut only, without a count)."
    )
    action = serializers.ChoiceField(ACTIONS)
    count = serializers.IntegerField(allow_null=True, required=False)
    badge = serializers.CharField(required=False)
    reason = serializers.CharField(required=False, allow_blank=True)
    undoes = serializers.CharField(required=False, help_text="The id that an undo cancels.")
    station = serializers.CharField(
        required=False, help_text="A supervisor names one, and a program; a tablet is its own."
    )
    scanned_at = serializers.DateTimeField(
        help_text="With an offset. Without one, more than 2 minutes ahead or 30 days behind, it counts as received "
        "now, and the record says that it is doubtful."
    )
    number = serializers.IntegerField(
        required=False,
        min_value=1,
        max_value=LAST_NUMBER,
        help_text="The tablet's own running number, so that a missing scan is seen. No part of the scan's identity.",
    )


class ScanOut(serializers.Serializer):
    id = serializers.CharField()
    outcome = serializers.ChoiceField(["recorded", "repeated", "refused"])
    first_outcome = serializers.ChoiceField(["recorded", "refused"])
    message = serializers.CharField(
        help_text="One sentence, in the language of the badge; kept as the first delivery got it."
    )
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
        return JsonResponse(
            _recorded(actor, read_json(request.read(settings.LONGEST_JSON_BODY + 1)), request.headers)
        )

    return first


@keyed_first
@extend_schema(
    methods=["POST"],
    tags=["scans"],
    parameters=HEADERS,
    request=inline_serializer("Scans", {"scans": ScanIn(many=True)}),
    responses=schema.answers(
        400, 413, 415, _200=inline_serializer("ScanResults", {"results": ScanOut(many=True)})
    ),
    description="Record 1 to 500 scans, in order. Each has its own result: a refused or repeated one is 200 too, and "
    "stops no other. What is wrong with one scan is in its result's `message`; 400 is for what is no list of scans.",
)
@extend_schema(
    methods=["GET"],
    tags=["scans"],
    parameters=[
        OpenApiParameter("since", OpenApiTypes.INT, description="Rows after this sequence, oldest first."),
        OpenApiParameter("page_size", OpenApiTypes.INT, description="1 to 500."),
    ],
    responses=schema.answers(400, _200=RecordPage),
    description="The append-only record, oldest first. `sequence` follows the order of commit: going on from the last "
    "one never misses a row.",
)
@api_view(["GET", "POST"])
def scans(request):
    """Record 1 to 500 scans, in order; or read the append-only record."""
    if request.method == "GET":
        actor_of(request, OFFICE, SUPERVISOR, OPERATOR)
        return Response(record_page(request.query_params))
    return Response(_recorded(actor_of(request, OPERATOR, SUPERVISOR), request.data, request.headers))


def _recorded(actor: Actor, body, headers) -> dict:
    known: dict[str, tuple[str, ...] | None] = {}
    deliveries, report = _deliveries(body), report_read(headers)
    limits = cache(_limits)
    try:
        with hurried():
            results = scans_record(
                deliveries=deliveries,
                clock=timezone.now,
                actor=actor,
                station_operations=_operations(known),
                station_limits=limits,
            )
            now = timezone.now()
            numbers_note(actor=actor, series=report.series, numbers=numbers_of(deliveries, results), now=now)
            presence_note(actor=actor, report=report, now=now)
    except (Busy, OperationalError) as error:
        if isinstance(error, Busy) or is_busy(error):
            raise Busy(AGAIN) from error
        raise
    return {"results": [result.as_dict() for result in results]}


def _deliveries(body) -> list:
    found = body.get("scans") if isinstance(body, dict) else None
    if not isinstance(found, list) or not 1 <= len(found) <= MOST_SCANS:
        given = len(found) if isinstance(found, list) else found
        limit = f"a list of 1 to {MOST_SCANS} scans"
        said = "is missing" if given is None else f"is {str(given)[:40]}"
        raise WrongInput([FieldError("scans", given, limit, f"scans {said}; it can be {limit}.")])
    return found


def _limits(code: str) -> Limits | None:
    station = Station.objects.filter(code=code).first()
    return limits_of(station) if station else None


def _operations(known: dict):
    def operations_of(code: str):
        if code not in known:
            row = (
                Station.objects.filter(code=code, is_active=True).values_list("operations", flat=True).first()
            )
            known[code] = None if row is None else tuple(row)
        return known[code]

    return operations_of
