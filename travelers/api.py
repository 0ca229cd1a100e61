"""The API of this package: release and cancel, fittings, where, and the papers of an order."""

from __future__ import annotations

from collections.abc import Callable

from django.http import HttpResponse
from django.utils import timezone
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework import serializers
from rest_framework.decorators import api_view
from rest_framework.response import Response

from fittings import api_schema as schema
from fittings.idempotency import answer_once
from fittings.models import Order
from fittings.selectors import order_answer
from shared.api import Pages, json_object
from shared.roles import DISPLAY, OFFICE, OPERATOR, SUPERVISOR, Actor, actor_of
from travelers import amend_cancel, papers, pins, release
from travelers import api_schema as answers
from travelers import where as places
from travelers.release_kept import kept_ids_read

TEXT = OpenApiTypes.STR
PDF = {(200, "application/pdf"): OpenApiTypes.BINARY} | schema.answers(400, 404, 409)


class PinIn(serializers.Serializer):
    line = serializers.IntegerField(
        required=False,
        allow_null=True,
        min_value=1,
        help_text="Its number in the order; left out: the order.",
    )


class ReleaseIn(serializers.Serializer):
    use_kept = serializers.ListField(
        child=serializers.IntegerField(),
        required=False,
        help_text="Ids of kept pieces that become fittings or segments of the order; its `kept/` says which fit.",
    )


class Pin(serializers.Serializer):
    line = serializers.IntegerField(allow_null=True, help_text="null: the whole order.")
    made_at = serializers.DateTimeField()
    made_by = serializers.CharField()
    ended_at = serializers.DateTimeField(allow_null=True)
    ended_by = serializers.CharField(allow_blank=True)


class CancelIn(serializers.Serializer):
    started = serializers.ChoiceField(
        ("keep", "scrap"),
        required=False,
        help_text="What becomes of started work; left out: it lies where it lies.",
    )


class PinsOut(serializers.Serializer):
    order = serializers.CharField()
    pins = Pin(many=True, help_text="What stands first.")
    ended = Pin(many=True, help_text="What was taken off again, the newest first.")


@extend_schema(
    tags=["orders"],
    parameters=[schema.IDEMPOTENCY_KEY],
    request=ReleaseIn,
    responses=schema.answers(400, 404, 409, 413, 415, 422, _200=schema.OrderOut),
)
@api_view(["POST"])
def order_release(request, number: str):
    """Break the order down into fittings, segments and tasks: all or nothing, once."""
    actor = actor_of(request, OFFICE, SUPERVISOR)
    kept = kept_ids_read(json_object(request).get("use_kept")) if request.data else []
    return answer_once(
        request,
        actor,
        lambda ready: (200, order_answer(_released(number, actor, ready, kept).number)),
        before=lambda: release.release_ready(number),
    )


def _released(number: str, actor: Actor, ready: release.Release, kept: list[int]) -> Order:
    return release.order_release(number=number, actor=actor, now=timezone.now(), ready=ready, use_kept=kept)


@extend_schema(
    tags=["orders"],
    parameters=[schema.IDEMPOTENCY_KEY],
    request=CancelIn,
    responses=schema.answers(400, 404, 409, 413, 415, 422, _200=schema.OrderOut),
)
@api_view(["POST"])
def order_cancel(request, number: str):
    """Cancel a draft or released order; what is not finished becomes void, or by choice is kept or scrapped."""
    actor = actor_of(request, OFFICE, SUPERVISOR)
    data = json_object(request) if request.data else {}

    def cancelled() -> tuple[int, dict]:
        started = data.get("started", amend_cancel.AS_IT_IS)
        done = amend_cancel.order_cancel(number=number, started=started, actor=actor, now=timezone.now())
        return 200, order_answer(done.number)

    return answer_once(request, actor, cancelled)


@extend_schema(
    methods=["GET"],
    operation_id="orders_pins",
    tags=["orders"],
    responses=schema.answers(404, _200=PinsOut),
    description="What of an order the supervisor put first on the floor, and what was taken off again.",
)
@extend_schema(
    methods=["POST"],
    operation_id="orders_pin",
    tags=["orders"],
    request=PinIn,
    responses=schema.answers(400, 404, 409, 413, 415, _200=PinsOut),
    description="Put an order, or one line of it, first on the floor: the stations' lists begin with it. What stands "
    "first already stays as it is.",
)
@api_view(["GET", "POST"])
def order_pin(request, number: str):
    """Read what of an order stands first; put it, or a line of it, first."""
    if request.method == "GET":
        actor_of(request, OFFICE, SUPERVISOR)
        return Response(pins.pins_answer(number))
    return _pinned(request, number, pins.pin_set)


@extend_schema(
    operation_id="orders_unpin",
    tags=["orders"],
    request=PinIn,
    responses=schema.answers(400, 404, 413, 415, _200=PinsOut),
    description="Take the pin off an order, or off one line of it. Where there is none nothing changes.",
)
@api_view(["POST"])
def order_unpin(request, number: str):
    """Take the pin off."""
    return _pinned(request, number, pins.pin_end)


def _pinned(request, number: str, act: Callable) -> Response:
    actor = actor_of(request, SUPERVISOR)
    line = pins.line_read(json_object(request)) if request.data else None
    act(number=number, line=line, actor=actor, now=timezone.now())
    return Response(pins.pins_answer(number))


@extend_schema(
    operation_id="fittings_list",
    tags=["fittings"],
    parameters=[
        OpenApiParameter("order", TEXT, description="An order's number."),
        OpenApiParameter("operation", TEXT, description="Fittings with work ready, running or held there."),
        OpenApiParameter("state", TEXT, enum=["open", "done", "scrapped", "void"]),
        OpenApiParameter("q", TEXT, description="Tag, order, customer or code."),
        OpenApiParameter("page", OpenApiTypes.INT),
        OpenApiParameter("page_size", OpenApiTypes.INT),
    ],
    responses=schema.answers(400, 404, _200=answers.FittingPage),
)
@api_view(["GET"])
def fitting_list(request):
    """Fittings and where each is."""
    actor_of(request, OFFICE, SUPERVISOR, OPERATOR, DISPLAY)
    pages = Pages()
    page = pages.paginate_queryset(places.fitting_list(request.query_params), request)
    return pages.get_paginated_response(places.fitting_rows(page))


@extend_schema(tags=["fittings"], responses=schema.answers(404, _200=answers.FittingWhole))
@api_view(["GET"])
def fitting_detail(request, code: str):
    """One fitting, whole."""
    actor_of(request, OFFICE, SUPERVISOR, OPERATOR, DISPLAY)
    return Response(places.fitting_detail(code))


@extend_schema(
    tags=["fittings"],
    parameters=[
        OpenApiParameter("q", TEXT, required=True, description="An order number, a tag or any code.")
    ],
    responses=schema.answers(400, 404, _200=answers.WhereOut),
)
@api_view(["GET"])
def where(request):
    """Where each piece sits, since when, and what it waits for."""
    actor_of(request, OFFICE, SUPERVISOR, OPERATOR, DISPLAY)
    return Response(places.where(request.query_params.get("q", "")))


def pdf_response(content: bytes, name: str) -> HttpResponse:
    response = HttpResponse(content, content_type="application/pdf")
    response["Content-Disposition"] = f'inline; filename="{name}"'
    return response


@extend_schema(tags=["papers"], responses=PDF)
@api_view(["GET"])
def travelers_pdf(request, number: str):
    """The travelers of a released order. Printing again marks them as reprints; the codes stay."""
    actor = actor_of(request, OFFICE, SUPERVISOR)
    return pdf_response(
        papers.travelers(number=number, actor=actor, now=timezone.now()), f"travelers-{number}.pdf"
    )


@extend_schema(
    tags=["papers"],
    parameters=[
        OpenApiParameter(
            "format_name", TEXT, description="A row of the label table; the shop's own if left out."
        ),
        OpenApiParameter("start_at", OpenApiTypes.INT, description="First free label of the sheet, from 1."),
    ],
    responses=PDF,
)
@api_view(["GET"])
def labels_pdf(request, number: str):
    """A label for every segment of a released order."""
    actor_of(request, OFFICE, SUPERVISOR)
    return pdf_response(papers.labels(number=number, query=request.query_params), f"labels-{number}.pdf")


@extend_schema(tags=["papers"], responses=PDF)
@api_view(["GET"])
def packing_list_pdf(request, number: str):
    """The packing list of an order, with weights and counts."""
    actor_of(request, OFFICE, SUPERVISOR)
    return pdf_response(papers.packing_list(number=number, now=timezone.now()), f"packing-list-{number}.pdf")
