"""Search for programs."""

from __future__ import annotations

from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework import serializers
from rest_framework.decorators import api_view
from rest_framework.response import Response

from fittings import api_schema as schema
from shared.problems import FieldError, WrongInput
from shared.roles import OFFICE, SUPERVISOR, actor_of
from shopfloor.find import find


class FoundOut(serializers.Serializer):
    kind = serializers.CharField(
        help_text="order, customer, fitting, segment, traveler, sheet, stock, cut_plan, station or operator."
    )
    title = serializers.CharField()
    text = serializers.CharField(allow_blank=True)
    state = serializers.CharField(allow_blank=True)
    url = serializers.CharField(allow_blank=True, help_text="Its page; empty where the role has none.")
    code = serializers.CharField(allow_blank=True)
    order = serializers.CharField(allow_blank=True)
    line = serializers.IntegerField(allow_null=True)


class FindOut(serializers.Serializer):
    query = serializers.CharField()
    unknown = serializers.ListField(
        child=serializers.CharField(), help_text="Words that stand nowhere; it was searched without them."
    )
    more = serializers.BooleanField()
    results = FoundOut(many=True)


@extend_schema(
    operation_id="find",
    tags=["orders"],
    parameters=[
        OpenApiParameter(
            "q",
            OpenApiTypes.STR,
            required=True,
            description="Words in any order: a code, an order's number, a tag, a customer, a purchase order, a size as "
            "in “14 90 elbow 24”.",
        )
    ],
    responses=schema.answers(400, _200=FindOut),
    description="What a text stands for: exact codes and numbers first, then open orders before done ones, the newest "
    "first; at most 60.",
)
@api_view(["GET"])
def find_all(request):
    """Search."""
    actor = actor_of(request, OFFICE, SUPERVISOR)
    q = request.query_params.get("q", "")
    if not q.strip():
        message = "Enter what to look for: a code, a number, a tag, a customer, a size."
        raise WrongInput([FieldError("q", q, "1 to 80 characters", message)])
    answer = find(q, actor=actor)
    return Response(
        {
            "query": answer.asked,
            "unknown": list(answer.unknown),
            "more": answer.more,
            "results": [
                {
                    "kind": hit.kind,
                    "title": hit.title,
                    "text": hit.text,
                    "state": hit.state,
                    "url": hit.url,
                    "code": hit.code,
                    "order": hit.order,
                    "line": hit.line,
                }
                for hit in answer.hits
            ],
        }
    )
