"""/api/v1/operators/: who scans, their badges, and these as printed cards."""

from __future__ import annotations

from django.http import HttpResponse
from django.utils import timezone
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework import serializers
from rest_framework.decorators import api_view
from rest_framework.response import Response

from fittings import api_schema as schema
from fittings.idempotency import answer_once
from shared.api import json_object, paged
from shared.problems import FieldError, WrongInput
from shared.roles import SUPERVISOR, actor_of
from shared.words import LANGUAGES
from shopfloor import operators
from travelers.badge_cards import badge_cards
from travelers.models import Operator


class OperatorOut(serializers.Serializer):
    code = serializers.CharField(help_text="The badge's code.")
    name = serializers.CharField()
    language = serializers.ChoiceField(choices=LANGUAGES, help_text="What the tablets speak to the badge.")
    is_active = serializers.BooleanField()
    card_printed_at = serializers.DateTimeField(allow_null=True)


class OperatorIn(serializers.Serializer):
    name = serializers.CharField(max_length=operators.LONGEST_NAME)
    language = serializers.ChoiceField(choices=LANGUAGES, required=False, help_text="Left out: the shop's.")


class OperatorChangeIn(serializers.Serializer):
    name = serializers.CharField(max_length=operators.LONGEST_NAME, required=False)
    language = serializers.ChoiceField(choices=LANGUAGES, required=False)
    is_active = serializers.BooleanField(required=False)


@extend_schema(
    methods=["GET"],
    operation_id="operators_list",
    tags=["operators"],
    parameters=schema.PAGING,
    responses=schema.answers(404, _200=schema.paged(OperatorOut)),
    description="Everyone with a badge, those in use first.",
)
@extend_schema(
    methods=["POST"],
    operation_id="operators_create",
    tags=["operators"],
    parameters=[schema.IDEMPOTENCY_KEY],
    request=OperatorIn,
    responses=schema.answers(400, 409, 413, 415, 422, _201=OperatorOut),
    description="A new operator with a badge code of the shop's series.",
)
@api_view(["GET", "POST"])
def operator_list(request):
    """Operators: list and add."""
    actor = actor_of(request, SUPERVISOR)
    if request.method == "GET":
        return paged(request, operators.operator_list(), operator_answer)
    body = json_object(request)
    if wrong := _unknown(body, ("name", "language")):
        raise WrongInput(wrong)

    def make():
        language = body.get("language", "")
        made = operators.operator_add(
            name=body.get("name"), language=str(language), actor=actor, now=timezone.now()
        )
        return 201, operator_answer(made)

    return answer_once(request, actor, make)


@extend_schema(
    methods=["GET"],
    operation_id="operators_retrieve",
    tags=["operators"],
    responses=schema.answers(404, _200=OperatorOut),
)
@extend_schema(
    methods=["PATCH"],
    operation_id="operators_change",
    tags=["operators"],
    request=OperatorChangeIn,
    responses=schema.answers(400, 404, 413, 415, _200=OperatorOut),
    description="Change the fields that are given. A badge out of use is refused at every tablet.",
)
@api_view(["GET", "PATCH"])
def operator_detail(request, code: str):
    """One operator: read and change."""
    actor = actor_of(request, SUPERVISOR)
    if request.method == "GET":
        return Response(operator_answer(operators.operator_get(code)))
    body = json_object(request)
    return Response(
        operator_answer(operators.operator_change(code=code, data=body, actor=actor, now=timezone.now()))
    )


@extend_schema(
    operation_id="operators_badges",
    tags=["operators"],
    parameters=[
        OpenApiParameter("code", OpenApiTypes.STR, many=True, description="Whose; left out: everyone's.")
    ],
    responses=schema.answers(400, 404) | {(200, "application/pdf"): OpenApiTypes.BINARY},
    description="Cards of 85.6 × 54 mm, eight a Letter page, with marks to cut along.",
)
@api_view(["GET"])
def operator_badges(request):
    """Badges as printed cards."""
    actor = actor_of(request, SUPERVISOR)
    content = badge_cards(codes=request.query_params.getlist("code"), actor=actor, now=timezone.now())
    response = HttpResponse(content, content_type="application/pdf")
    response["Content-Disposition"] = 'inline; filename="badges.pdf"'
    return response


def operator_answer(operator: Operator) -> dict:
    return {
        "code": operator.code,
        "name": operator.name,
        "language": operator.language,
        "is_active": operator.is_active,
        "card_printed_at": operator.card_printed_at,
    }


def _unknown(body: dict, known: tuple[str, ...]) -> list[FieldError]:
    limit = ", ".join(known)
    return [
        FieldError(name[:40], None, limit, f"“{name[:40]}” is no field here; the fields are {limit}.")
        for name in body
        if name not in known
    ]
