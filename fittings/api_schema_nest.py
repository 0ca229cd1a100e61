"""The request and the answer of nesting, for the OpenAPI schema. What is allowed is checked in `nest_reading`."""

from __future__ import annotations

from drf_spectacular.utils import OpenApiExample, extend_schema_field, extend_schema_serializer
from rest_framework import serializers

from fittings.api_schema_develop import UNIT, PointsField
from fittings.cutting import TURNS
from fittings.cutting.work import MOST_PARTS
from fittings.nest_reading import LONGEST_NAME, SECONDS, SEEDS, USUAL_SECONDS

_POINTS = {
    "type": "array",
    "items": {"type": "array", "items": {"type": "number"}, "minItems": 2, "maxItems": 2},
    "minItems": 3,
}


@extend_schema_field({"type": "array", "items": _POINTS})
class OutlinesField(serializers.ListField):
    pass


class NestStockIn(serializers.Serializer):
    name = serializers.CharField(max_length=LONGEST_NAME, help_text="Each once.")
    width = serializers.FloatField(help_text="Across the table.")
    length = serializers.FloatField(help_text="Along it; of a coil, the longest that is cut off.")
    count = serializers.IntegerField(
        required=False, allow_null=True, min_value=0, max_value=MOST_PARTS, help_text="null: without limit."
    )
    coil = serializers.BooleanField(
        required=False, default=False, help_text="A strip cut off at the length used."
    )


class NestPartIn(serializers.Serializer):
    id = serializers.CharField(max_length=LONGEST_NAME, help_text="Each once.")
    count = serializers.IntegerField(required=False, default=1, min_value=1, max_value=MOST_PARTS)
    outline = PointsField(
        help_text="A simple closed outline, the first point not repeated; either way round."
    )
    alternatives = OutlinesField(
        required=False,
        help_text="Other outlines that do as well, such as the same gore with its seam elsewhere.",
    )


@extend_schema_serializer(
    examples=[
        OpenApiExample(
            "Forty strips",
            {
                "unit": "in",
                "gap": 0.125,
                "margin": 0.25,
                "rotations": "any",
                "seconds": 10,
                "seed": 1,
                "stock": [{"name": "60x120", "width": 60, "length": 120, "count": None}],
                "parts": [{"id": "A", "count": 40, "outline": [[0, 0], [38.2, 0], [38.2, 4.1], [0, 4.1]]}],
            },
            request_only=True,
        )
    ]
)
class NestIn(serializers.Serializer):
    unit = serializers.ChoiceField(choices=UNIT, required=False, default="in")
    gap = serializers.FloatField(
        required=False, help_text="The least distance between parts; 0.125 in where left out."
    )
    margin = serializers.FloatField(
        required=False, help_text="From the edge of the stock; 0.25 in where left out."
    )
    rotations = serializers.ChoiceField(
        choices=list(TURNS), required=False, default="any", help_text="half: 0 and 180 degrees."
    )
    seconds = serializers.FloatField(
        required=False, default=USUAL_SECONDS, min_value=SECONDS[0], max_value=SECONDS[1]
    )
    seed = serializers.IntegerField(required=False, default=1, min_value=SEEDS[0], max_value=SEEDS[1])
    stock = NestStockIn(many=True)
    parts = NestPartIn(many=True)


class NestPlacement(serializers.Serializer):
    id = serializers.CharField()
    x = serializers.FloatField(help_text="Along the length.")
    y = serializers.FloatField(help_text="Across the width.")
    rotation = serializers.FloatField(
        help_text="Degrees counter-clockwise about the outline's own origin, before it is moved."
    )
    alternative = serializers.IntegerField(
        required=False, help_text="From 1, where one was taken in place of the outline."
    )


class NestSheet(serializers.Serializer):
    stock = serializers.CharField()
    used_length = serializers.FloatField(help_text="To the last part and the margin behind it.")
    utilisation = serializers.FloatField(help_text="Of the whole sheet; of the length used of a coil.")
    placements = NestPlacement(many=True)


class NestUnplaced(serializers.Serializer):
    id = serializers.CharField()
    count = serializers.IntegerField()
    why = serializers.CharField()


class NestOut(serializers.Serializer):
    unit = serializers.ChoiceField(choices=UNIT)
    sheets = NestSheet(many=True)
    unplaced = NestUnplaced(many=True)
    utilisation = serializers.FloatField(
        help_text="Area of placed parts over stock used, the last sheet of each stock and every coil by used_length."
    )
    bound = serializers.FloatField(help_text="A proven upper limit of it.")
    method = serializers.CharField(help_text="The way of placing that won.")
