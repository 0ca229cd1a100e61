"""The requests and answers of the stock API, for its OpenAPI schema. What is allowed is checked elsewhere."""

from __future__ import annotations

from drf_spectacular.utils import OpenApiExample, extend_schema_field, extend_schema_serializer
from rest_framework import serializers

from fittings.api_schema_develop import UNIT
from fittings.models import StockItem
from fittings.stock_reading import MOST_COUNT, NAME_LENGTH, NOTE_LENGTH

_COST = {
    "oneOf": [{"type": "string", "pattern": r"^\d{1,6}(\.\d{1,2})?$"}, {"type": "number", "minimum": 0}],
    "nullable": True,
}


@extend_schema_field(_COST)
class CostField(serializers.Field):
    pass


class StockSize(serializers.Serializer):
    name = serializers.CharField(
        required=False, allow_blank=True, max_length=NAME_LENGTH, help_text="Left out: made from the size."
    )
    count = serializers.IntegerField(
        required=False,
        allow_null=True,
        min_value=0,
        max_value=MOST_COUNT,
        help_text="On hand; null is not counted. A coil is not counted; a remnant is 0 (waits) or 1.",
    )
    cost_each = CostField(
        required=False, help_text="Of a sheet or remnant, of one foot of a coil; null is not known."
    )
    note = serializers.CharField(required=False, allow_blank=True, max_length=NOTE_LENGTH)
    unit = serializers.ChoiceField(choices=UNIT, required=False, default="in")


@extend_schema_serializer(
    examples=[
        OpenApiExample(
            "Twenty sheets",
            {
                "form": "sheet",
                "material": "galvanized",
                "gauge": 24,
                "width": 48,
                "length": 120,
                "count": 20,
                "cost_each": "41.50",
            },
            request_only=True,
        )
    ]
)
class StockIn(StockSize):
    form = serializers.ChoiceField(choices=StockItem.Form.choices)
    material = serializers.CharField(help_text="A material of the table Sheet metal gauges.")
    gauge = serializers.IntegerField(help_text="A gauge of that material.")
    width = serializers.FloatField(help_text="Across the table.")
    length = serializers.FloatField(
        help_text="Along the table, at most the shop's setting table_length_in; of a coil its longest cut."
    )


@extend_schema_serializer(
    examples=[OpenApiExample("Counted again", {"version": 3, "count": 17}, request_only=True)]
)
class StockChangeIn(StockSize):
    # the schema of a PATCH would make every field optional; the version is not
    partial = property(lambda self: False, lambda self, value: None)

    version = serializers.IntegerField(min_value=1, help_text="The version that you saw.")
    width = serializers.FloatField(required=False)
    length = serializers.FloatField(required=False)
    is_active = serializers.BooleanField(
        required=False, help_text="false retires the item, true brings it back."
    )


class StockOut(serializers.Serializer):
    id = serializers.IntegerField()
    name = serializers.CharField()
    form = serializers.ChoiceField(choices=StockItem.Form.choices)
    material = serializers.CharField()
    gauge = serializers.IntegerField()
    unit = serializers.ChoiceField(choices=UNIT)
    width = serializers.FloatField()
    length = serializers.FloatField()
    count = serializers.IntegerField(allow_null=True)
    cost_each = serializers.CharField(allow_null=True, help_text="Two digits after the point.")
    code = serializers.CharField(allow_blank=True, help_text="A remnant's.")
    made_from = serializers.CharField(allow_null=True, help_text="The code of the sheet that left it.")
    plan = serializers.IntegerField(allow_null=True, help_text="The number of that sheet's cut plan.")
    note = serializers.CharField(allow_blank=True)
    is_active = serializers.BooleanField()
    version = serializers.IntegerField()
    changed_at = serializers.DateTimeField()
    changed_by = serializers.CharField()
