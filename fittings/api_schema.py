"""The requests and answers of this package's API, for its OpenAPI schema. What is allowed is checked elsewhere."""

from __future__ import annotations

from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import (
    OpenApiExample,
    OpenApiParameter,
    OpenApiResponse,
    extend_schema_field,
    extend_schema_serializer,
)
from rest_framework import serializers

from fittings.api_schema_develop import (
    ELBOW,
    UNIT,
    AllowancesIn,
    ParamsField,
    PressureField,
    Spec,
    Warned,
)
from fittings.api_schema_develop import DevelopIn as DevelopIn  # offered here with the other schemas
from fittings.api_schema_develop import DevelopOut as DevelopOut
from fittings.ends import LETTERS
from fittings.models import Order, OrderLine
from fittings.reading import MOST_LINES, PRIORITY, QUANTITY

PROBLEM = "application/problem+json"


# -- problems ----------------------------------------------------------------


class WrongField(serializers.Serializer):
    field = serializers.CharField(help_text="Its path: lines[0].params.diameter")
    value = serializers.JSONField(allow_null=True, help_text="What was given.")
    limit = serializers.CharField(help_text="What is allowed.")
    message = serializers.CharField(help_text="A sentence for a person.")


class ProblemDetails(serializers.Serializer):
    """RFC 9457. A refused request changes nothing."""

    type = serializers.CharField()
    title = serializers.CharField()
    status = serializers.IntegerField()
    detail = serializers.CharField()
    errors = WrongField(many=True, required=False)


_REFUSALS = {
    400: "The input is wrong; every wrong field is named.",
    401: "Not signed in.",
    403: "Not allowed for this role.",
    404: "There is nothing of this name.",
    409: "Something changed meanwhile, or the state does not allow it; what changed is named.",
    413: "The body is longer than 2 MiB.",
    415: "The body is not JSON.",
    422: "The Idempotency-Key was used for another request.",
}


def answers(*statuses: int, **good) -> dict:
    """The responses of an endpoint: `good` by status (`_201=OrderOut`), and the refusals named."""
    found = {int(status[1:]): answer for status, answer in good.items()}
    for status in (401, 403, *statuses):
        found[status, PROBLEM] = OpenApiResponse(ProblemDetails, description=_REFUSALS[status])
    return found


IDEMPOTENCY_KEY = OpenApiParameter(
    "Idempotency-Key",
    OpenApiTypes.STR,
    OpenApiParameter.HEADER,
    description="A key of your own, fresh for each new request. The same key and body again get the first answer.",
)
ORDER_NUMBER = OpenApiParameter(
    "number", OpenApiTypes.STR, OpenApiParameter.PATH, description="The order's number."
)
PAGING = [
    OpenApiParameter("page", OpenApiTypes.INT, description="From 1."),
    OpenApiParameter("page_size", OpenApiTypes.INT, description="1 to 500; 50 where left out."),
]


# -- orders ------------------------------------------------------------------


class LineIn(Spec):
    quantity = serializers.IntegerField(min_value=QUANTITY[0], max_value=QUANTITY[1])
    tag = serializers.CharField(
        required=False, allow_blank=True, max_length=60, help_text="The drawing's mark."
    )
    system = serializers.CharField(
        required=False, allow_blank=True, max_length=40, help_text="The floor or duct system it belongs to."
    )
    traveler_per = serializers.ChoiceField(choices=OrderLine.TravelerPer.choices, required=False)


class OrderHead(serializers.Serializer):
    purchase_order = serializers.CharField(required=False, allow_blank=True, max_length=60)
    due = serializers.DateField(required=False, allow_null=True, help_text="2000-01-01 to 2100-12-31")
    priority = serializers.IntegerField(
        required=False, min_value=PRIORITY[0], max_value=PRIORITY[1], help_text="1 is highest."
    )
    notes = serializers.CharField(required=False, allow_blank=True, max_length=2000)


@extend_schema_serializer(
    examples=[
        OpenApiExample(
            "Twelve elbows by Thursday",
            {
                "customer": "Example Mechanical",
                "purchase_order": "PO-77",
                "due": "2026-03-05",
                "priority": 3,
                "lines": [{**ELBOW, "quantity": 12, "end_a": "flange", "end_b": "raw", "tag": "AHU-3"}],
            },
            request_only=True,
        )
    ]
)
class OrderIn(OrderHead):
    number = serializers.CharField(
        required=False, max_length=30, help_text="Letters, digits, - _ . Left out: the next free one."
    )
    customer = serializers.CharField(max_length=120, help_text="A name; a new one makes a new customer.")
    lines = LineIn(many=True, min_length=1, max_length=MOST_LINES)
    unit = serializers.ChoiceField(choices=UNIT, required=False, default="in")


@extend_schema_serializer(
    examples=[OpenApiExample("Another date", {"version": 3, "due": "2026-03-09"}, request_only=True)]
)
class OrderChangeIn(OrderHead):
    # the schema of a PATCH would make every field optional; the version is not
    partial = property(lambda self: False, lambda self, value: None)

    version = serializers.IntegerField(min_value=1, help_text="The version that you saw.")
    customer = serializers.CharField(required=False, max_length=120)
    lines = LineIn(many=True, required=False, help_text="The whole new list; a draft's only.")
    unit = serializers.ChoiceField(choices=UNIT, required=False, default="in")


class OrderRow(serializers.Serializer):
    number = serializers.CharField()
    state = serializers.ChoiceField(choices=Order.State.choices)
    version = serializers.IntegerField()
    customer = serializers.CharField()
    purchase_order = serializers.CharField(allow_blank=True)
    due = serializers.DateField(allow_null=True)
    priority = serializers.IntegerField()
    notes = serializers.CharField(allow_blank=True)
    created_at = serializers.DateTimeField()
    created_by = serializers.CharField()
    released_at = serializers.DateTimeField(allow_null=True)
    released_by = serializers.CharField(allow_blank=True)
    ended_at = serializers.DateTimeField(allow_null=True)
    fittings_total = serializers.IntegerField()
    fittings_done = serializers.IntegerField()


class OrderListed(OrderRow):
    lines_count = serializers.IntegerField()
    pieces = serializers.IntegerField(help_text="Fittings that the lines ask for.")


class LineOut(serializers.Serializer):
    line = serializers.IntegerField(help_text="From 1.")
    quantity = serializers.IntegerField()
    kind = serializers.CharField()
    material = serializers.CharField()
    gauge = serializers.IntegerField()
    params = ParamsField()
    end_a = serializers.CharField()
    end_b = serializers.CharField()
    end_c = serializers.CharField(allow_blank=True)
    joins_a = serializers.CharField(allow_blank=True)
    joins_b = serializers.CharField(allow_blank=True)
    joins_c = serializers.CharField(allow_blank=True)
    pressure_class = PressureField(allow_null=True)
    allowances = AllowancesIn(allow_null=True)
    tag = serializers.CharField(allow_blank=True)
    system = serializers.CharField(allow_blank=True)
    traveler_per = serializers.ChoiceField(choices=OrderLine.TravelerPer.choices)
    warnings = Warned(many=True, help_text="What is unusual about the fitting, with the reason.")


class OrderOut(OrderRow):
    unit = serializers.ChoiceField(choices=UNIT)
    lines = LineOut(many=True)


# -- customers, tables, kinds ------------------------------------------------


class CustomerIn(serializers.Serializer):
    name = serializers.CharField(max_length=120)
    contact = serializers.CharField(required=False, allow_blank=True, max_length=200)
    address = serializers.CharField(
        required=False, allow_blank=True, max_length=200, help_text="At most 4 lines, divided by line feeds."
    )
    notes = serializers.CharField(required=False, allow_blank=True, max_length=2000)
    is_active = serializers.BooleanField(required=False, help_text="Offered in forms.")


class CustomerChangeIn(CustomerIn):
    name = serializers.CharField(required=False, max_length=120)


class CustomerOut(serializers.Serializer):
    id = serializers.IntegerField()
    name = serializers.CharField()
    contact = serializers.CharField(allow_blank=True)
    address = serializers.CharField(allow_blank=True)
    notes = serializers.CharField(allow_blank=True)
    is_active = serializers.BooleanField()


class ColumnOut(serializers.Serializer):
    name = serializers.CharField()
    label = serializers.CharField()
    kind = serializers.CharField(help_text="text, number, whole, or decimal: digits as a text")
    low = serializers.FloatField(allow_null=True)
    high = serializers.FloatField(allow_null=True)
    choices = serializers.ListField(child=serializers.CharField())
    may_be_empty = serializers.BooleanField()
    help = serializers.CharField(allow_blank=True)


class TableRow(serializers.Serializer):
    name = serializers.CharField()
    title = serializers.CharField()
    help = serializers.CharField()
    version = serializers.IntegerField(help_text="In force.")
    columns = ColumnOut(many=True)


_CELL = {"oneOf": [{"type": "string"}, {"type": "number"}], "nullable": True}
_ROWS = {"type": "array", "items": {"type": "object", "additionalProperties": _CELL}}


@extend_schema_field(_ROWS)
class RowsField(serializers.ListField):
    pass


class TableOut(TableRow):
    note = serializers.CharField(allow_blank=True)
    made_by = serializers.CharField()
    made_at = serializers.DateTimeField()
    rows = RowsField()


class TableIn(serializers.Serializer):
    rows = RowsField(help_text="All rows of the new version.")
    version = serializers.IntegerField(min_value=1, help_text="The version that they began with.")
    note = serializers.CharField(required=False, allow_blank=True, max_length=300)


class ParamOut(serializers.Serializer):
    name = serializers.CharField()
    title = serializers.CharField()
    unit = serializers.CharField(
        allow_blank=True, help_text="in, deg, count, choice, bool, or nothing (a ratio)"
    )
    low = serializers.FloatField(allow_null=True)
    high = serializers.FloatField(allow_null=True)
    low_open = serializers.BooleanField(help_text="The lower bound itself is left out.")
    required = serializers.BooleanField()
    default = serializers.JSONField(allow_null=True)
    choices = serializers.ListField(child=serializers.CharField())
    help = serializers.CharField(allow_blank=True)
    more = serializers.BooleanField(help_text="Seldom given: forms fold it away.")


class KindEnd(serializers.Serializer):
    end = serializers.ChoiceField(choices=LETTERS)
    title = serializers.CharField()


class KindOut(serializers.Serializer):
    name = serializers.CharField()
    title = serializers.CharField()
    help = serializers.CharField(allow_blank=True)
    ends = KindEnd(many=True, help_text="Its free ends.")
    params = ParamOut(many=True)


def paged(serializer: type[serializers.Serializer]) -> serializers.Serializer:
    """The paged answer of a list: count, next, previous, results."""

    def fields() -> dict:
        return {
            "count": serializers.IntegerField(),
            "next": serializers.URLField(allow_null=True),
            "previous": serializers.URLField(allow_null=True),
            "results": serializer(many=True),
        }

    return type(f"{serializer.__name__}Page", (serializers.Serializer,), fields())()
