"""The API of this package: release and cancel, fittings, where, and the papers of an order."""

from __future__ import annotations

from django.http import HttpResponse
from django.utils import timezone
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework.decorators import api_view
from rest_framework.response import Response

from fittings.idempotency import answer_once
from fittings.selectors import order_answer
from shared.api import Pages
from shared.roles import DISPLAY, OFFICE, OPERATOR, SUPERVISOR, actor_of
from travelers import papers, release
from travelers import where as places

TEXT = OpenApiTypes.STR


@extend_schema(tags=["orders"], request=None, responses=OpenApiTypes.OBJECT)
@api_view(["POST"])
def order_release(request, number: str):
    """Break the order down into fittings, segments and tasks: all or nothing, once."""
    actor = actor_of(request, OFFICE, SUPERVISOR)
    return answer_once(
        request,
        actor,
        lambda: (
            200,
            order_answer(release.order_release(number=number, actor=actor, now=timezone.now()).number),
        ),
    )


@extend_schema(tags=["orders"], request=None, responses=OpenApiTypes.OBJECT)
@api_view(["POST"])
def order_cancel(request, number: str):
    """Cancel a draft or released order; what is not finished becomes void."""
    actor = actor_of(request, OFFICE, SUPERVISOR)
    return answer_once(
        request,
        actor,
        lambda: (
            200,
            order_answer(release.order_cancel(number=number, actor=actor, now=timezone.now()).number),
        ),
    )


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
    responses=OpenApiTypes.OBJECT,
)
@api_view(["GET"])
def fitting_list(request):
    """Fittings and where each is."""
    actor_of(request, OFFICE, SUPERVISOR, OPERATOR, DISPLAY)
    pages = Pages()
    page = pages.paginate_queryset(places.fitting_list(request.query_params), request)
    return pages.get_paginated_response(places.fitting_rows(page))


@extend_schema(tags=["fittings"], responses=OpenApiTypes.OBJECT)
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
    responses=OpenApiTypes.OBJECT,
)
@api_view(["GET"])
def where(request):
    """Where each piece sits, since when, and what it waits for."""
    actor_of(request, OFFICE, SUPERVISOR, OPERATOR, DISPLAY)
    return Response(places.where(request.query_params.get("q", "")))


def _pdf(content: bytes, name: str) -> HttpResponse:
    response = HttpResponse(content, content_type="application/pdf")
    response["Content-Disposition"] = f'inline; filename="{name}"'
    return response


@extend_schema(tags=["papers"], responses={(200, "application/pdf"): OpenApiTypes.BINARY})
@api_view(["GET"])
def travelers_pdf(request, number: str):
    """The travelers of a released order. Printing again marks them as reprints; the codes stay."""
    actor = actor_of(request, OFFICE, SUPERVISOR)
    return _pdf(papers.travelers(number=number, actor=actor, now=timezone.now()), f"travelers-{number}.pdf")


@extend_schema(
    tags=["papers"],
    parameters=[
        OpenApiParameter(
            "format_name", TEXT, description="A row of the label table; the shop's own if left out."
        ),
        OpenApiParameter("start_at", OpenApiTypes.INT, description="First free label of the sheet, from 1."),
    ],
    responses={(200, "application/pdf"): OpenApiTypes.BINARY},
)
@api_view(["GET"])
def labels_pdf(request, number: str):
    """A label for every segment of a released order."""
    actor_of(request, OFFICE, SUPERVISOR)
    return _pdf(papers.labels(number=number, query=request.query_params), f"labels-{number}.pdf")


@extend_schema(tags=["papers"], responses={(200, "application/pdf"): OpenApiTypes.BINARY})
@api_view(["GET"])
def packing_list_pdf(request, number: str):
    """The packing list of an order, with weights and counts."""
    actor_of(request, OFFICE, SUPERVISOR)
    return _pdf(papers.packing_list(number=number, now=timezone.now()), f"packing-list-{number}.pdf")
