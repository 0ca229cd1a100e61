"""The API of papers: letterhead, order confirmation, papers printed in the background."""

from __future__ import annotations

import base64
import binascii

from django.urls import reverse
from django.utils import timezone
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.decorators import api_view
from rest_framework.response import Response

from fittings import api_schema as schema
from fittings.idempotency import answer_once
from shared.api import json_object
from shared.problems import FieldError, WrongInput
from shared.roles import OFFICE, SUPERVISOR, actor_of
from travelers import letterhead, letters, papers, print_runs
from travelers.api import pdf_response
from travelers.models import PrintRun

PDF = {(200, "application/pdf"): OpenApiTypes.BINARY}


class Logo(serializers.Serializer):
    width = serializers.IntegerField(help_text="px")
    height = serializers.IntegerField(help_text="px")
    changed_at = serializers.DateTimeField()
    changed_by = serializers.CharField()
    png = serializers.CharField(help_text="Base64.")


class LetterheadOut(serializers.Serializer):
    name = serializers.CharField()
    address = serializers.CharField(allow_blank=True)
    phone = serializers.CharField(allow_blank=True)
    logo = Logo(allow_null=True)


class LetterheadIn(serializers.Serializer):
    logo = serializers.CharField(
        allow_null=True, help_text="A PNG or JPEG of at most 1 MiB, Base64; null: no logo any more."
    )


class PrintIn(serializers.Serializer):
    paper = serializers.ChoiceField(choices=PrintRun.Paper.choices)
    format_name = serializers.CharField(
        required=False, help_text="Labels: a row of the label table; the shop's own if left out."
    )
    start_at = serializers.IntegerField(
        required=False, min_value=1, help_text="Labels: the first that is free."
    )


class PrintOut(serializers.Serializer):
    id = serializers.IntegerField()
    order = serializers.CharField()
    paper = serializers.ChoiceField(choices=PrintRun.Paper.choices)
    state = serializers.CharField(help_text="queued, running, done, failed or cancelled.")
    share = serializers.FloatField(help_text="0 to 1.")
    words = serializers.CharField(allow_blank=True)
    asked_at = serializers.DateTimeField()
    asked_by = serializers.CharField()
    made_at = serializers.DateTimeField(allow_null=True)
    bytes = serializers.IntegerField(allow_null=True)


# -- letterhead -------------------------------------------------------------


@extend_schema(
    methods=["GET"], operation_id="letterhead", tags=["papers"], responses=schema.answers(_200=LetterheadOut),
    description="What stands above every paper. Name, address and telephone are rows of the table `shop`.",
)  # fmt: skip
@extend_schema(
    methods=["PUT"],
    operation_id="letterhead_put",
    tags=["papers"],
    request=LetterheadIn,
    responses=schema.answers(400, 413, 415, _200=LetterheadOut),
    description="Another logo, or none.",
)
@api_view(["GET", "PUT"])
def letterhead_detail(request):
    """The letterhead: read it, or give it a logo."""
    actor = actor_of(request, OFFICE, SUPERVISOR)
    if request.method == "PUT":
        content = _logo_of(json_object(request))
        if content is None:
            letterhead.logo_remove(actor=actor, now=timezone.now())
        else:
            letterhead.logo_keep(content=content, actor=actor, now=timezone.now())
    return Response(_letterhead_answer())


def _logo_of(body: dict) -> bytes | None:
    text = body.get("logo", "")
    if text is None:
        return None
    try:
        if not isinstance(text, str) or not text:
            raise ValueError
        return base64.b64decode(text, validate=True)
    except (ValueError, binascii.Error):
        message = "The logo is no Base64 text of a PNG or JPEG."
        raise WrongInput([FieldError("logo", str(text)[:40], "Base64, or null", message)]) from None


def _letterhead_answer() -> dict:
    shop, row = letterhead.shop_head(), letterhead.letterhead_now()
    logo = row and {
        "width": row.width,
        "height": row.height,
        "changed_at": row.changed_at,
        "changed_by": row.changed_by,
        "png": base64.b64encode(bytes(row.logo)).decode(),
    }
    return {"name": shop.name, "address": shop.address, "phone": shop.phone, "logo": logo}


# -- papers of an order -----------------------------------------------------


@extend_schema(
    operation_id="orders_confirmation_pdf",
    tags=["papers"],
    parameters=[schema.ORDER_NUMBER],
    responses={**PDF, **schema.answers(404, 409)},
)
@api_view(["GET"])
def confirmation_pdf(request, number: str):
    """The order confirmation, also of a draft, which then says so."""
    actor_of(request, OFFICE, SUPERVISOR)
    content = letters.confirmation(number=number, now=timezone.now())
    return pdf_response(content, f"order-confirmation-{number}.pdf")


@extend_schema(
    methods=["GET"],
    operation_id="orders_prints",
    tags=["papers"],
    parameters=[schema.ORDER_NUMBER],
    responses=schema.answers(404, _200=PrintOut(many=True)),
    description="The newest prints of an order.",
)
@extend_schema(
    methods=["POST"],
    operation_id="orders_print",
    tags=["papers"],
    parameters=[schema.ORDER_NUMBER, schema.IDEMPOTENCY_KEY],
    request=PrintIn,
    responses=schema.answers(400, 404, 409, 413, 415, 422, _202=PrintOut),
    description="Travelers or labels of a large order, made in the background: ask for the address in `Location` until "
    "`made_at` is told, then fetch its `file.pdf`. It is kept for a day. What is being made already is answered "
    "instead of beginning again.",
)
@api_view(["GET", "POST"])
def order_papers(request, number: str):
    """Papers made in the background: list and ask."""
    actor = actor_of(request, OFFICE, SUPERVISOR)
    if request.method == "GET":
        order = papers.released_order(number)
        return Response([print_runs.run_answer(state.run) for state in print_runs.runs_of(order)])
    body = json_object(request)
    paper = body.get("paper")
    options = {name: body[name] for name in papers.LABEL_OPTIONS if name in body}

    def make():
        run = print_runs.print_ask(
            number=number, paper=str(paper), options=options, actor=actor, now=timezone.now()
        )
        return 202, print_runs.run_answer(run)

    response = answer_once(request, actor, make)
    response["Location"] = reverse("api_order_paper", args=[number, response.data["id"]])
    return response


@extend_schema(
    operation_id="orders_print_state",
    tags=["papers"],
    parameters=[schema.ORDER_NUMBER],
    responses=schema.answers(404, _200=PrintOut),
)
@api_view(["GET"])
def order_paper(request, number: str, pk: int):
    """How far a print is."""
    actor_of(request, OFFICE, SUPERVISOR)
    return Response(print_runs.run_answer(print_runs.run_get(number, pk)))


@extend_schema(
    operation_id="orders_print_stop",
    tags=["papers"],
    parameters=[schema.ORDER_NUMBER],
    request=None,
    responses=schema.answers(404, _200=PrintOut),
)
@api_view(["POST"])
def order_paper_stop(request, number: str, pk: int):
    """A print that is not wanted any more."""
    actor_of(request, OFFICE, SUPERVISOR)
    run = print_runs.run_get(number, pk)
    print_runs.print_stop(run=run, now=timezone.now())
    return Response(print_runs.run_answer(run))


@extend_schema(
    operation_id="orders_print_file",
    tags=["papers"],
    parameters=[schema.ORDER_NUMBER],
    responses={**PDF, **schema.answers(404, 409)},
)
@api_view(["GET"])
def order_paper_file(request, number: str, pk: int):
    """The file of a print; 409 while it is being made."""
    actor_of(request, OFFICE, SUPERVISOR)
    run = print_runs.run_get(number, pk)
    return pdf_response(print_runs.run_file(run), print_runs.print_state(run).file_name)
