"""The requests and answers of the API of cut plans, for its OpenAPI schema. What is allowed is checked elsewhere."""

from __future__ import annotations

from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import (
    OpenApiExample,
    OpenApiParameter,
    extend_schema_field,
    extend_schema_serializer,
)
from rest_framework import serializers

from fittings.api_schema import UNIT
from fittings.cut_settings import HIGHEST, SEAMS
from fittings.cutting import EFFORTS, TURNS
from fittings.models import CutPlan, StockItem
from shared.models import Job
from travelers.cut_choices import MOST_ORDERS, MOST_STOCK, SEED
from travelers.cut_plans import LONGEST_REASON
from travelers.models import TaskState

UNIT_ASKED = OpenApiParameter(
    "unit", OpenApiTypes.STR, enum=UNIT, description="Of the answer; in where left out."
)
FILE_UNIT = OpenApiParameter(
    "unit", OpenApiTypes.STR, enum=UNIT, description="Of the file; in where left out."
)
PLAN_NUMBER = OpenApiParameter(
    "number", OpenApiTypes.INT, OpenApiParameter.PATH, description="The plan's number."
)
SHEET_KEY = OpenApiParameter(
    "key", OpenApiTypes.STR, OpenApiParameter.PATH, description="The sheet's code, or its id."
)


class Rules(serializers.Serializer):
    """How a plan is made; what is left out is as the shop's settings say."""

    unit = serializers.ChoiceField(choices=UNIT, required=False, default="in")
    effort = serializers.ChoiceField(choices=EFFORTS, required=False)
    gap = serializers.FloatField(
        required=False,
        min_value=0,
        help_text=f"Least distance between pieces, kerf included; at most {HIGHEST['part_gap_in']:g} in.",
    )
    margin = serializers.FloatField(
        required=False,
        min_value=0,
        help_text=f"Left free at the edges; at most {HIGHEST['sheet_margin_in']:g} in.",
    )
    turns = serializers.ChoiceField(
        choices=TURNS, required=False, help_text="half: 0 and 180 degrees, by the grain."
    )
    seams = serializers.ChoiceField(
        choices=SEAMS,
        required=False,
        help_text="free: an elbow's gore may have its seam at throat or heel, where its order does not stagger them.",
    )
    seed = serializers.IntegerField(
        required=False,
        min_value=SEED[0],
        max_value=SEED[1],
        help_text="The same seed and effort give the same plan; 1 where left out.",
    )
    stock = serializers.ListField(
        child=serializers.IntegerField(),
        required=False,
        max_length=MOST_STOCK,
        help_text="Ids of stock to cut from; left out or empty: all of the metal that is on hand.",
    )


@extend_schema_serializer(
    examples=[
        OpenApiExample(
            "All galvanized 24 gauge that is due by Friday",
            {"material": "galvanized", "gauge": 24, "due_to": "2026-03-06", "effort": "normal"},
            request_only=True,
        )
    ]
)
class CutPlanIn(Rules):
    material = serializers.CharField(help_text="A material of the table Sheet metal gauges.")
    gauge = serializers.IntegerField()
    orders = serializers.ListField(
        child=serializers.CharField(),
        required=False,
        max_length=MOST_ORDERS,
        help_text="Numbers of the orders wanted; left out or empty: all.",
    )
    due_to = serializers.DateField(
        required=False,
        allow_null=True,
        help_text="The last date wanted; orders without a date are then left out.",
    )


@extend_schema_serializer(
    examples=[OpenApiExample("Longer, by another seed", {"effort": "long", "seed": 2}, request_only=True)]
)
class CutPlanAgainIn(Rules):
    pass


class CutPlanSendIn(serializers.Serializer):
    version = serializers.IntegerField(
        required=False, min_value=1, help_text="The version that you saw; another one in force refuses."
    )


class TakeOffIn(serializers.Serializer):
    code = serializers.CharField(help_text="The segment's code.")
    reason = serializers.CharField(max_length=LONGEST_REASON)


class PlanHead(serializers.Serializer):
    number = serializers.IntegerField()
    state = serializers.ChoiceField(choices=CutPlan.State.choices)
    version = serializers.IntegerField()
    material = serializers.CharField()
    gauge = serializers.IntegerField()
    unit = serializers.ChoiceField(choices=UNIT)
    effort = serializers.ChoiceField(choices=EFFORTS)
    seed = serializers.IntegerField()
    gap = serializers.FloatField()
    margin = serializers.FloatField()
    turns = serializers.ChoiceField(choices=TURNS)
    seams = serializers.ChoiceField(choices=SEAMS)
    due_to = serializers.DateField(allow_null=True)
    stock = serializers.ListField(child=serializers.IntegerField())
    utilisation = serializers.FloatField(
        allow_null=True,
        help_text="Area of the pieces over stock used: the last sheet of each size and every coil by the length used.",
    )
    bound = serializers.FloatField(allow_null=True, help_text="A proven upper limit of the utilisation.")
    parts_area = serializers.FloatField()
    stock_area = serializers.FloatField()
    cost = serializers.CharField(
        allow_null=True,
        help_text="Of the metal, less what the remnants are worth; null where a price is not known.",
    )
    message = serializers.CharField(allow_blank=True, help_text="What a person should know of it.")
    made_by = serializers.CharField()
    asked_at = serializers.DateTimeField()
    made_at = serializers.DateTimeField(allow_null=True)
    sent_at = serializers.DateTimeField(allow_null=True)
    sent_by = serializers.CharField(allow_blank=True)
    ended_at = serializers.DateTimeField(allow_null=True, help_text="Dropped or failed.")


class CutPlanRow(PlanHead):
    sheets_count = serializers.IntegerField()
    pieces_count = serializers.IntegerField()


class TakenOff(serializers.Serializer):
    reason = serializers.CharField()
    at = serializers.DateTimeField()
    by = serializers.CharField()


class CutPieceOut(serializers.Serializer):
    """Its outline as developed is turned counter-clockwise about its own origin, then moved by x, y."""

    code = serializers.CharField(help_text="The segment's.")
    plate = serializers.IntegerField(help_text="0 for the whole segment, else the plate's number from 1.")
    fitting = serializers.CharField()
    order = serializers.CharField()
    line = serializers.IntegerField()
    tag = serializers.CharField(allow_blank=True)
    position = serializers.IntegerField()
    role = serializers.CharField()
    generation = serializers.IntegerField()
    pattern = serializers.CharField()
    seam_at = serializers.CharField(
        allow_blank=True, help_text="Where the plan put the seam; blank: as ordered."
    )
    x = serializers.FloatField(allow_null=True, help_text="Along the sheet's length.")
    y = serializers.FloatField(allow_null=True, help_text="Across its width.")
    rotation = serializers.FloatField(allow_null=True, help_text="Degrees.")
    area = serializers.FloatField()
    feed = serializers.IntegerField(help_text="In which order it is cut; the front of the table first.")
    is_live = serializers.BooleanField(help_text="Whether the plan holds it.")
    cut = serializers.ChoiceField(
        choices=TaskState.choices, allow_null=True, help_text="State of the segment's cutting."
    )
    why = serializers.CharField(allow_blank=True, help_text="Why it did not go on.")
    off = TakenOff(allow_null=True)


class RemnantOut(serializers.Serializer):
    width = serializers.FloatField()
    length = serializers.FloatField()
    code = serializers.CharField(allow_blank=True, help_text="Given out when the plan is sent.")
    credit = serializers.CharField(allow_null=True)


class SheetHead(serializers.Serializer):
    id = serializers.IntegerField()
    position = serializers.IntegerField(help_text="In the order of cutting, from 1.")
    code = serializers.CharField(allow_blank=True, help_text="Given out when the plan is sent.")
    stock = serializers.IntegerField()
    stock_name = serializers.CharField()
    form = serializers.ChoiceField(choices=StockItem.Form.choices)
    width = serializers.FloatField()
    length = serializers.FloatField(help_text="Of a coil the length used.")
    used_length = serializers.FloatField()
    utilisation = serializers.FloatField(help_text="Of the whole sheet; of the length used of a coil.")
    load = serializers.IntegerField(help_text="The load of the table, from 1.")
    load_offset = serializers.FloatField(help_text="Where it begins on the table.")
    cost = serializers.CharField(allow_null=True)
    remnant = RemnantOut(allow_null=True)


class CutSheetInPlan(SheetHead):
    pieces = CutPieceOut(many=True)


_POINTS = {"type": "array", "items": {"type": "array", "items": {"type": "number"}}}


@extend_schema_field(_POINTS)
class PointsField(serializers.Field):
    pass


class PieceOnSheet(CutPieceOut):
    outline = PointsField(help_text="The cut outline where it lies on the sheet.")
    label = serializers.CharField()


class CutSheetOut(SheetHead):
    plan = serializers.IntegerField()
    state = serializers.ChoiceField(choices=CutPlan.State.choices, help_text="Of its plan.")
    unit = serializers.ChoiceField(choices=UNIT)
    material = serializers.CharField()
    gauge = serializers.IntegerField()
    pieces = PieceOnSheet(many=True)


@extend_schema_field({"type": "object", "additionalProperties": {"type": "number"}})
class FiguresField(serializers.Field):
    pass


class JobOut(serializers.Serializer):
    state = serializers.ChoiceField(choices=Job.State.choices)
    share = serializers.FloatField(help_text="How far it is, 0 to 1.")
    words = serializers.CharField(allow_blank=True)
    figures = FiguresField(help_text="The best so far: utilisation, sheets, bound.")
    wants_stop = serializers.BooleanField()


class Comparison(serializers.Serializer):
    rule = serializers.CharField(
        allow_blank=True, help_text="seams, coil, size, turns, gap; blank for a remark."
    )
    words = serializers.CharField()
    utilisation = serializers.FloatField(required=False, help_text="By the other rule.")
    utilisation_now = serializers.FloatField(required=False)
    sheets = serializers.IntegerField(required=False)
    sheets_now = serializers.IntegerField(required=False)
    metal = serializers.FloatField(required=False, help_text="Metal by the other rule over metal now.")


class CutPlanOut(PlanHead):
    job = JobOut(allow_null=True, help_text="The search.")
    comparisons = Comparison(many=True, help_text="What the plan's rules cost.")
    sheets = CutSheetInPlan(many=True)
    without_sheet = CutPieceOut(
        many=True, help_text="Pieces without a place: being placed, or left out with why."
    )


class CutWorkOut(serializers.Serializer):
    material = serializers.CharField()
    gauge = serializers.IntegerField()
    pieces = serializers.IntegerField(help_text="Plates are counted one by one.")
    fittings = serializers.IntegerField()
    orders = serializers.IntegerField()
    area = serializers.FloatField()
    weight = serializers.FloatField(help_text="lb")
    first_due = serializers.DateField(allow_null=True)
    late = serializers.IntegerField(help_text="Pieces of orders past their date.")
    left_out = serializers.ListField(
        child=serializers.CharField(), help_text="What is open at the table and not ready."
    )
