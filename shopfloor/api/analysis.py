"""/api/v1/flow/, measured-times/ and what-if/: what the record and the simulation say of the floor."""

from __future__ import annotations

from django.utils import timezone
from django.utils.dateparse import parse_datetime
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiParameter, extend_schema, inline_serializer
from rest_framework import serializers
from rest_framework.decorators import api_view
from rest_framework.response import Response

from fittings import api_schema as schema
from fittings.idempotency import answer_once
from fittings.reading import Reading
from shared.api import json_object, paged
from shared.jobs import job_of
from shared.problems import FieldError, WrongInput
from shared.roles import OFFICE, SUPERVISOR, actor_of
from shopfloor import studies, study_page
from shopfloor.flow_form import FlowForm
from shopfloor.flow_page import flow_shown
from shopfloor.measured_adoption import times_adopt
from shopfloor.measured_page import MeasuredPage, measured_page
from shopfloor.models import Study
from shopfloor.studies import LIMITS, ChangeAsked

USUAL_RUNS, USUAL_DAYS = 60, 10


# -- the flow ----------------------------------------------------------------


@extend_schema(
    operation_id="flow",
    tags=["flow"],
    parameters=[
        OpenApiParameter("period", OpenApiTypes.STR, enum=["7", "28", "91", "365", "own"]),
        OpenApiParameter("first", OpenApiTypes.DATE, description="Own dates, with `last`."),
        OpenApiParameter("last", OpenApiTypes.DATE, description="Today at the latest."),
        OpenApiParameter("operation", OpenApiTypes.STR, description="Left out: whole fittings."),
        OpenApiParameter("by", OpenApiTypes.STR),
        OpenApiParameter("unit", OpenApiTypes.STR),
        OpenApiParameter("order", OpenApiTypes.STR),
        OpenApiParameter("kind", OpenApiTypes.STR),
        OpenApiParameter("gauge", OpenApiTypes.INT),
        OpenApiParameter("size", OpenApiTypes.STR, description="Largest diameter, as 14 1/2."),
    ],
    responses=schema.answers(400, _200=OpenApiTypes.OBJECT),
    description="Facts and tables as the page shows them: every cell a text, empty where it is not known.",
)
@api_view(["GET"])
def flow(request):
    """The figures of a range of days."""
    actor = actor_of(request, OFFICE, SUPERVISOR)
    form = FlowForm(request.query_params)
    if not form.is_valid():
        raise WrongInput(
            FieldError(
                name,
                request.query_params.get(name),
                str(text).rpartition(" can be ")[2].rstrip("."),
                str(text),
            )
            for name, texts in form.errors.items()
            for text in texts
        )
    asked = form.asked()
    page = flow_shown(asked, form.counted_in, asked_by=actor.name, now=timezone.now())
    return Response(
        {
            "first": asked.first,
            "last": asked.last,
            "days_missing": page.days_missing,
            "facts": [{"name": name, "value": value} for name, value in page.facts],
            "tables": [
                {
                    "name": one.name,
                    "title": one.title,
                    "columns": [column.name for column in one.columns],
                    "rows": one.plain,
                }
                for section in page.sections
                for one in section.tables
            ],
        }
    )


# -- measured times ----------------------------------------------------------


class MethodOut(serializers.Serializer):
    operation = serializers.CharField()
    method = serializers.CharField()
    pieces = serializers.IntegerField(help_text="That were timed.")
    standard = serializers.DictField(allow_null=True, help_text="minutes_each, minutes_per_foot")
    measured = serializers.DictField(allow_null=True, help_text="The same; null where there are too few.")
    ratio = serializers.FloatField(allow_null=True, help_text="Measured by standard minutes, ± half at 95 %.")
    half = serializers.FloatField(allow_null=True)
    is_proposed = serializers.BooleanField(help_text="It surely differs and can be adopted.")


@extend_schema(
    operation_id="measured_times",
    tags=["flow"],
    responses={
        200: inline_serializer(
            "MeasuredTimes",
            {
                "version": serializers.IntegerField(help_text="Of the standard times."),
                "until": serializers.DateTimeField(),
                "results": MethodOut(many=True),
            },
        )
    },
)
@api_view(["GET"])
def measured_times(request):
    """What the scans of start and finish say beside the standard times."""
    actor_of(request, OFFICE, SUPERVISOR)
    page = measured_page(operation="", now=timezone.now())
    return Response({"version": page.version, "until": page.until, "results": _methods(page)})


@extend_schema(
    operation_id="measured_adopt",
    tags=["flow"],
    request=inline_serializer(
        "MeasuredAdopt",
        {
            "version": serializers.IntegerField(),
            "until": serializers.DateTimeField(),
            "methods": serializers.ListField(
                child=serializers.DictField(), help_text="operation and method of each"
            ),
        },
    ),
    responses=schema.answers(
        400, 404, 409, _200=inline_serializer("Adopted", {"version": serializers.IntegerField()})
    ),
    description="All of them or none, as they were told with this version and moment.",
)
@api_view(["POST"])
def measured_adopt(request):
    """Take measured times over into the standard times."""
    actor, body = actor_of(request, OFFICE), json_object(request)
    reading = Reading(body)
    reading.only(("version", "until", "methods"))
    version, until, methods = reading.whole("version", 1, 10**8), body.get("until"), body.get("methods")
    moment = parse_datetime(until) if isinstance(until, str) and len(until) < 40 else None
    if moment is None or timezone.is_naive(moment):
        reading.wrong("until", until, "the moment that came with the measured times")
    good = isinstance(methods, list) and all(
        isinstance(one, dict) and isinstance(one.get("operation"), str) and isinstance(one.get("method"), str)
        for one in methods
    )
    if not good:
        reading.wrong("methods", None, "a list of objects with operation and method")
    if reading.errors:
        raise WrongInput(reading.errors)
    ways = [(one["operation"], one["method"]) for one in methods]
    table = times_adopt(ways=ways, seen=version, until=moment, actor=actor, now=timezone.now())
    return Response({"version": table.number})


def _methods(page: MeasuredPage) -> list[dict]:
    found = []
    for _, rows in page.groups:
        for row in rows:
            one = row.learned
            found.append(
                {
                    "operation": row.way[0],
                    "method": row.method,
                    "pieces": one.pieces,
                    "standard": _minutes(row.standard) if row.standard else None,
                    "measured": _minutes(one) if one.is_enough else None,
                    "ratio": one.ratio,
                    "half": one.half,
                    "is_proposed": row.is_proposed,
                }
            )
    return found


def _minutes(one) -> dict[str, float]:
    return {"minutes_each": one.each, "minutes_per_foot": one.per_foot}


# -- what if -----------------------------------------------------------------


class StudyIn(serializers.Serializer):
    name = serializers.CharField(max_length=studies.LONGEST_NAME)
    benches = serializers.DictField(
        child=serializers.IntegerField(), required=False, help_text="More, by operation."
    )
    people = serializers.IntegerField(required=False, allow_null=True)
    longer = serializers.IntegerField(required=False, help_text="Hours of work a day more.")
    caps = serializers.DictField(child=serializers.IntegerField(), required=False, help_text="By operation.")
    lot = serializers.IntegerField(required=False, allow_null=True)
    rule = serializers.ChoiceField(studies.RULES, required=False)
    inflow = serializers.IntegerField(required=False, help_text="Of what came lately, per cent.")
    times = serializers.ChoiceField(studies.TIMES, required=False)
    mix = serializers.DictField(
        child=serializers.IntegerField(), required=False, help_text="Per cent, by kind."
    )
    days = serializers.IntegerField(required=False)
    runs = serializers.IntegerField(required=False)


class StudyOut(serializers.Serializer):
    id = serializers.IntegerField()
    name = serializers.CharField()
    state = serializers.ChoiceField(["making", "made", "failed"])
    share = serializers.FloatField(help_text="How far it is, 0 to 1.")
    asked_at = serializers.DateTimeField()
    asked_by = serializers.CharField()
    changes = serializers.ListField(child=serializers.CharField())
    message = serializers.CharField(allow_blank=True)
    result = serializers.JSONField(required=False, allow_null=True)


@extend_schema(
    methods=["GET"],
    operation_id="studies_list",
    tags=["flow"],
    parameters=schema.PAGING,
    responses=schema.answers(404, _200=schema.paged(StudyOut)),
)
@extend_schema(
    methods=["POST"],
    operation_id="study_ask",
    tags=["flow"],
    parameters=[schema.IDEMPOTENCY_KEY],
    request=StudyIn,
    responses=schema.answers(400, 409, 422, _202=StudyOut),
    description="The worker makes it; ask for it again by its id.",
)
@api_view(["GET", "POST"])
def what_if(request):
    """Questions to the simulation, the newest first; or a new one."""
    actor, now = actor_of(request, OFFICE, SUPERVISOR), timezone.now()
    if request.method == "GET":
        return paged(request, Study.objects.order_by("-asked_at", "-pk").defer("result"), _study)
    asked = _asked(json_object(request))
    return answer_once(
        request, actor, lambda: (202, _study(studies.study_request(**asked, actor=actor, now=now)))
    )


@extend_schema(
    methods=["GET"], operation_id="study", tags=["flow"], responses=schema.answers(404, _200=StudyOut)
)
@extend_schema(
    methods=["DELETE"], operation_id="study_remove", tags=["flow"], responses=schema.answers(404, _204=None)
)
@api_view(["GET", "DELETE"])
def study(request, pk):
    """One question with its answer; or take it away."""
    actor, now = actor_of(request, OFFICE, SUPERVISOR), timezone.now()
    if request.method == "DELETE":
        studies.study_remove(pk=pk, actor=actor, now=now)
        return Response(status=204)
    one = studies.study_get(pk)
    return Response(_study(one) | {"result": one.result})


@extend_schema(
    operation_id="study_stop", tags=["flow"], request=None, responses=schema.answers(404, _200=StudyOut)
)
@api_view(["POST"])
def study_stop(request, pk):
    """Stop, and keep what the runs so far say."""
    actor = actor_of(request, OFFICE, SUPERVISOR)
    studies.study_stop(pk=pk, actor=actor, now=timezone.now())
    return Response(_study(studies.study_get(pk)))


def _asked(body: dict) -> dict:
    """A body as `study_request` takes it. raises WrongInput naming what is no whole number, text or table of numbers"""
    reading = Reading(body)
    tables = ("benches", "caps", "mix")
    numbers = ("people", "longer", "lot", "inflow", "days", "runs")
    reading.only(("name", *tables, *numbers, "rule", "times"))
    given: dict = {}
    for name in tables:
        value = body.get(name) or {}
        if not isinstance(value, dict) or not all(type(one) is int for one in value.values()):
            reading.wrong(name, None, "an object of whole numbers")
            continue
        given[name] = value
    for name in numbers:
        if body.get(name) is not None:
            low, high, _ = LIMITS[name]
            given[name] = reading.whole(name, low, high)
    for name in ("rule", "times"):
        if body.get(name) is not None:
            given[name] = reading.text(name, 20)
    name = reading.text("name", studies.LONGEST_NAME, shortest=1)
    if reading.errors:
        raise WrongInput(reading.errors)
    days, runs = given.pop("days", USUAL_DAYS), given.pop("runs", USUAL_RUNS)
    return {"name": name, "asked": ChangeAsked(**given), "days": days, "runs": runs}


def _study(one: Study) -> dict:
    job = job_of(studies.STUDY, f"{one.pk}") if one.state == Study.State.MAKING else None
    return {
        "id": one.pk,
        "name": one.name,
        "state": one.state,
        "share": job.share if job else float(one.state == Study.State.MADE),
        "asked_at": one.asked_at,
        "asked_by": one.asked_by,
        "changes": study_page.changes_said(one),
        "message": one.message,
    }
