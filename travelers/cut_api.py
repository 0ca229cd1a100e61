"""The API of cut plans: the work that waits, plans, their sheets, pieces taken off."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from typing import Any

from django.http import HttpResponse
from django.utils import timezone
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework.decorators import api_view
from rest_framework.response import Response

from fittings import api_schema as schema
from fittings.developing import UNITS
from fittings.downloads import file_response, unit_asked
from fittings.idempotency import answer_once
from fittings.models import CutPlan
from fittings.reading import Reading
from shared.api import json_object, paged
from shared.problems import WrongInput
from shared.roles import OPERATOR, actor_of
from travelers import cut_answers, cut_api_schema, cut_papers, cut_plans
from travelers.cut_choices import AGAIN_FIELDS, choices_read
from travelers.cut_lookup import code_of_sent, sheet_by_key

READERS = (*cut_plans.PLANNERS, OPERATOR)
"""A tablet reads what is to be cut; only office and supervisor plan."""


# -- work and plans ----------------------------------------------------------


@extend_schema(
    operation_id="cut_work_list",
    tags=["cut plans"],
    parameters=[cut_api_schema.UNIT_ASKED, *schema.PAGING],
    responses=schema.answers(400, 404, _200=schema.paged(cut_api_schema.CutWorkOut)),
    description="What is ready to be cut and on no plan, by metal; the earliest date first.",
)
@api_view(["GET"])
def work_list(request):
    """The work that waits for a plan."""
    actor_of(request, *READERS)
    unit = unit_asked(request.query_params.get("unit"))
    return paged(request, cut_answers.work_answer(today=timezone.localdate(), unit=unit))


@extend_schema(
    methods=["GET"],
    operation_id="cut_plans_list",
    tags=["cut plans"],
    parameters=[
        OpenApiParameter("state", OpenApiTypes.STR, enum=CutPlan.State.values),
        OpenApiParameter("material", OpenApiTypes.STR),
        OpenApiParameter("gauge", OpenApiTypes.INT),
        cut_api_schema.UNIT_ASKED,
        *schema.PAGING,
    ],
    responses=schema.answers(400, 404, _200=schema.paged(cut_api_schema.CutPlanRow)),
    description="Plans, the newest first.",
)
@extend_schema(
    methods=["POST"],
    operation_id="cut_plans_create",
    tags=["cut plans"],
    parameters=[schema.IDEMPOTENCY_KEY],
    request=cut_api_schema.CutPlanIn,
    responses=schema.answers(400, 409, 413, 415, 422, _201=cut_api_schema.CutPlanOut),
    description="A new plan of the work of a metal that waits to be cut. It holds its pieces from now on; a worker "
    "makes the layout: ask for the plan until its state is `made`. Where another plan holds the work, 409 names it "
    "and who made it.",
)
@api_view(["GET", "POST"])
def plan_list(request):
    """Cut plans: list and create."""
    actor = actor_of(request, *cut_plans.PLANNERS)
    if request.method == "GET":
        query = request.query_params
        unit = unit_asked(query.get("unit"))
        found = cut_answers.plans_found(
            **{name: query.get(name, "") for name in ("state", "material", "gauge")}
        )
        return paged(request, found, lambda plan: cut_answers.plan_row(plan, unit))
    body = json_object(request)
    unit = _unit(body)

    def make(choices):
        plan = cut_plans.plan_chosen(choices=choices, actor=actor, now=timezone.now())
        return 201, cut_answers.plan_answer(plan, unit)

    return answer_once(request, actor, make, before=lambda: choices_read(body, unit=unit))


@extend_schema(
    operation_id="cut_plans_retrieve",
    tags=["cut plans"],
    parameters=[cut_api_schema.PLAN_NUMBER, cut_api_schema.UNIT_ASKED],
    responses=schema.answers(400, 404, _200=cut_api_schema.CutPlanOut),
    description="A plan whole: how far its search is, its sheets in the order of cutting with their pieces by feed "
    "number, what did not go on and why, and what its rules cost.",
)
@api_view(["GET"])
def plan_detail(request, number: int):
    """One cut plan, whole."""
    actor_of(request, *READERS)
    return Response(cut_answers.plan_answer(number, unit_asked(request.query_params.get("unit"))))


@extend_schema(
    operation_id="cut_plans_stop",
    tags=["cut plans"],
    parameters=[cut_api_schema.PLAN_NUMBER],
    request=None,
    responses=schema.answers(404, 409, _200=cut_api_schema.CutPlanOut),
    description="Stop the search and keep the best so far; the plan is made of it within moments.",
)
@api_view(["POST"])
def plan_stop(request, number: int):
    """Stop the search of a plan."""
    return _acted(request, number, cut_plans.plan_stop)


@extend_schema(
    operation_id="cut_plans_drop",
    tags=["cut plans"],
    parameters=[cut_api_schema.PLAN_NUMBER],
    request=None,
    responses=schema.answers(404, 409, _200=cut_api_schema.CutPlanOut),
    description="Drop a plan that was not sent; its pieces wait to be cut again.",
)
@api_view(["POST"])
def plan_drop(request, number: int):
    """Drop a plan."""
    return _acted(request, number, cut_plans.plan_drop)


@extend_schema(
    operation_id="cut_plans_again",
    tags=["cut plans"],
    parameters=[cut_api_schema.PLAN_NUMBER, schema.IDEMPOTENCY_KEY],
    request=cut_api_schema.CutPlanAgainIn,
    responses=schema.answers(400, 404, 409, 413, 415, 422, _201=cut_api_schema.CutPlanOut),
    description="Another plan in place of this one, which is dropped: those of its pieces that still wait, its "
    "choices but for the fields that are given.",
)
@api_view(["POST"])
def plan_again(request, number: int):
    """Make a plan again."""
    actor_of(request, *cut_plans.PLANNERS)
    body = json_object(request)
    unit = _unit(body)
    reading = Reading(body)
    reading.only((*AGAIN_FIELDS, "unit"))
    if reading.errors:
        raise WrongInput(reading.errors)
    changes = {name: value for name, value in body.items() if name != "unit"}
    act = partial(cut_plans.plan_again, unit=unit, **changes)
    return _acted(request, number, act, status=201, unit=unit)


@extend_schema(
    operation_id="cut_plans_send",
    tags=["cut plans"],
    parameters=[cut_api_schema.PLAN_NUMBER, schema.IDEMPOTENCY_KEY],
    request=cut_api_schema.CutPlanSendIn,
    responses=schema.answers(400, 404, 409, 413, 415, 422, _200=cut_api_schema.CutPlanOut),
    description="Send a made plan to the floor, all or nothing: its sheets get codes, the stock goes down, remnants "
    "are made. Pieces that need no cutting any more are named (409): make the plan again.",
)
@api_view(["POST"])
def plan_send(request, number: int):
    """Send a plan to the floor."""
    actor_of(request, *cut_plans.PLANNERS)
    body = json_object(request)
    reading = Reading(body)
    reading.only(("version",))
    version = reading.whole("version", 1, 10**9) if body.get("version") is not None else None
    if reading.errors:
        raise WrongInput(reading.errors)
    return _acted(request, number, partial(cut_plans.plan_send, version=version))


@extend_schema(
    operation_id="cut_plans_pdf",
    tags=["cut plans"],
    parameters=[cut_api_schema.PLAN_NUMBER],
    responses=schema.answers(404, 409) | {(200, "application/pdf"): OpenApiTypes.BINARY},
    description="The papers of a plan: a page a sheet.",
)
@api_view(["GET"])
def plan_pdf(request, number: int):
    """The sheets of a plan as PDF."""
    actor_of(request, *READERS)
    return file_response(cut_papers.plan_pdf(number, now=timezone.now()))


@extend_schema(
    operation_id="cut_plans_dxf",
    tags=["cut plans"],
    parameters=[cut_api_schema.PLAN_NUMBER, cut_api_schema.FILE_UNIT],
    responses=schema.answers(400, 404, 409) | {(200, "application/zip"): OpenApiTypes.BINARY},
    description="A DXF a sheet, as one ZIP.",
)
@api_view(["GET"])
def plan_dxf(request, number: int):
    """The sheets of a plan as DXF."""
    actor_of(request, *READERS)
    return file_response(cut_papers.plan_dxf_zip(number, unit=unit_asked(request.query_params.get("unit"))))


# -- sheets ------------------------------------------------------------------


@extend_schema(
    operation_id="cut_sheets_retrieve",
    tags=["cut plans"],
    parameters=[cut_api_schema.SHEET_KEY, cut_api_schema.UNIT_ASKED],
    responses=schema.answers(400, 404, _200=cut_api_schema.CutSheetOut),
    description="One sheet with its pieces and their outlines where they lie on it.",
)
@api_view(["GET"])
def sheet_detail(request, key: str):
    """One sheet of a plan."""
    actor_of(request, *READERS)
    return Response(cut_answers.sheet_answer(key, unit_asked(request.query_params.get("unit"))))


@extend_schema(
    operation_id="cut_sheets_svg",
    tags=["cut plans"],
    parameters=[cut_api_schema.SHEET_KEY],
    responses=schema.answers(404) | {(200, "image/svg+xml"): OpenApiTypes.STR},
    description="The picture of a sheet; what is cut is marked as done.",
)
@api_view(["GET"])
def sheet_svg(request, key: str):
    """The picture of a sheet."""
    actor_of(request, *READERS)
    text = cut_papers.sheet_svg_text(sheet_by_key(key))
    return HttpResponse(text, content_type="image/svg+xml")


@extend_schema(
    operation_id="cut_sheets_pdf",
    tags=["cut plans"],
    parameters=[cut_api_schema.SHEET_KEY],
    responses=schema.answers(404) | {(200, "application/pdf"): OpenApiTypes.BINARY},
    description="The paper of one sheet, as in the PDF of its plan.",
)
@api_view(["GET"])
def sheet_pdf(request, key: str):
    """A sheet as PDF."""
    actor_of(request, *READERS)
    return file_response(cut_papers.sheet_pdf(sheet_by_key(key), now=timezone.now()))


@extend_schema(
    operation_id="cut_sheets_dxf",
    tags=["cut plans"],
    parameters=[cut_api_schema.SHEET_KEY, cut_api_schema.FILE_UNIT],
    responses=schema.answers(400, 404, 409) | {(200, "image/vnd.dxf"): OpenApiTypes.BINARY},
    description="A sheet for the table at full scale: layers CUT, MARK, TEXT, pieces in feed order.",
)
@api_view(["GET"])
def sheet_dxf(request, key: str):
    """A sheet as DXF."""
    actor_of(request, *READERS)
    unit = unit_asked(request.query_params.get("unit"))
    return file_response(cut_papers.sheet_dxf_file(sheet_by_key(key), unit))


@extend_schema(
    operation_id="cut_sheets_take_off",
    tags=["cut plans"],
    parameters=[cut_api_schema.SHEET_KEY, schema.IDEMPOTENCY_KEY],
    request=cut_api_schema.TakeOffIn,
    responses=schema.answers(400, 404, 409, 413, 415, 422, _200=cut_api_schema.CutPieceOut),
    description="Take a piece off a sent sheet: it waits to be cut again and enters a later plan. One that was cut "
    "already is scrapped by a scan instead.",
)
@api_view(["POST"])
def sheet_take_off(request, key: str):
    """Take a piece off a sheet."""
    actor = actor_of(request, *cut_plans.PLANNERS)
    body = json_object(request)
    reading = Reading(body)
    reading.only(("code", "reason"))
    code = reading.text("code", 40, shortest=1)
    if reading.errors:
        raise WrongInput(reading.errors)

    def make():
        piece = cut_plans.piece_take_off(
            sheet_code=code_of_sent(sheet_by_key(key)),
            segment_code=code,
            reason=body.get("reason"),
            actor=actor,
            now=timezone.now(),
        )
        return 200, cut_answers.piece_answer(piece)

    return answer_once(request, actor, make)


# -- beginnings and ends -----------------------------------------------------


def _acted(
    request, number: int, act: Callable[..., CutPlan], *, status: int = 200, unit: str = "in"
) -> Response:
    """A service's act on a plan, answered with the plan that it gives."""
    actor = actor_of(request, *cut_plans.PLANNERS)

    def make():
        plan = act(number=number, actor=actor, now=timezone.now())
        return status, cut_answers.plan_answer(plan, unit)

    return answer_once(request, actor, make)


def _unit(body: dict[str, Any]) -> str:
    reading = Reading(body)
    unit = reading.choice("unit", UNITS, usual="in")
    if reading.errors:
        raise WrongInput(reading.errors)
    return unit
