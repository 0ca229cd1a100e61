"""Two customers that are the same made one, for programs."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from django.utils import timezone
from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.decorators import api_view
from rest_framework.response import Response

from fittings import api_schema as schema
from fittings.customer_merge import PRICES, Merge, Side, customer_merge_asked
from shared.api import json_object
from shared.roles import OFFICE, SUPERVISOR, actor_of


class CustomerMergeIn(serializers.Serializer):
    other = serializers.IntegerField(min_value=1, help_text="The id of the customer that goes.")
    prices = serializers.ChoiceField(
        PRICES, required=False, help_text="Whose row of the prices of customers is left, where both have one."
    )
    dry_run = serializers.BooleanField(required=False, default=False, help_text="Only told, nothing is made.")
    seen = serializers.CharField(
        required=False, allow_blank=True, help_text="The mark of what was shown: made only if it still holds."
    )


class CustomerSideOut(schema.CustomerOut):
    orders = serializers.IntegerField()
    open_orders = serializers.IntegerField()
    favourites = serializers.ListField(child=serializers.CharField())
    remembered_columns = serializers.IntegerField()
    price_list = serializers.CharField(allow_null=True)
    discount_pct = serializers.CharField(allow_null=True)


class CustomerMergeOut(serializers.Serializer):
    stays = CustomerSideOut(help_text="As it was before.")
    goes = CustomerSideOut()
    asks_prices = serializers.BooleanField(help_text="Both have prices of their own: say `prices`.")
    seen = serializers.CharField()
    dry_run = serializers.BooleanField()


@extend_schema(
    operation_id="customers_merge",
    tags=["customers"],
    request=CustomerMergeIn,
    responses=schema.answers(400, 404, 409, 413, 415, _200=CustomerMergeOut),
    description="Make one customer of two: orders, favourites, remembered columns and prices go over to the one of "
    "the address, all or nothing; the name of the other finds it from then on. With `dry_run` both are only shown.",
)
@api_view(["POST"])
def customer_merge(request, customer_id: int):
    actor = actor_of(request, OFFICE, SUPERVISOR)
    body = json_object(request)
    made, is_made = customer_merge_asked(stays=customer_id, data=body, actor=actor, now=timezone.now())
    return Response(_answer(made) | {"dry_run": not is_made})


def _answer(merge: Merge) -> dict[str, Any]:
    return {
        "stays": _side(merge.stays),
        "goes": _side(merge.goes),
        "asks_prices": merge.asks_prices,
        "seen": merge.seen,
    }


def _side(side: Side) -> dict[str, Any]:
    prices: Mapping[str, Any] = side.prices or {}
    return dict(side.was) | {
        "orders": side.orders,
        "open_orders": side.open_orders,
        "favourites": list(side.favourites),
        "remembered_columns": side.columns,
        "price_list": prices.get("price_list"),
        "discount_pct": prices.get("discount_pct"),
    }
