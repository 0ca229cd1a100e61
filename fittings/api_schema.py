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

from fittings.developing import PRESSURE
from fittings.ends import LETTERS
from fittings.geometry import KINDS, Kind, Param
from fittings.geometry.development import FORMS
from fittings.geometry.fit import GOES
from fittings.models import Order, OrderLine
from fittings.reading import MOST_LINES, PRIORITY, QUANTITY

PROBLEM = "application/problem+json"
UNIT = ["in", "mm"]


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


# -- params of each kind -----------------------------------------------------


def _param_schema(param: Param) -> dict:
    words = {"in": "length", "deg": "degrees", "": "ratio", "count": "count"}
    if param.unit == "bool":
        schema = {"type": "boolean"}
    elif param.unit == "choice":
        schema = {"type": "string", "maxLength": 60}
        if param.choices:
            schema = {"type": "string", "enum": list(param.choices)}
    else:
        schema = {"type": "integer" if param.unit == "count" else "number"}
        if param.unit != "in":  # the range of a length is in inches, and the body may say mm
            schema |= {"minimum": param.low} if param.low is not None else {}
            schema |= {"exclusiveMinimum": True} if param.low_open else {}
            schema |= {"maximum": param.high} if param.high is not None else {}
    said = f" Of {param.low:g} to {param.high:g} in." if param.unit == "in" and param.high is not None else ""
    kind = f" ({words[param.unit]})" if param.unit in words else ""
    schema["description"] = f"{param.help}{said}{kind}".strip()
    if param.default is not None:
        schema["default"] = param.default
    return schema


def _kind_schema(kind: Kind) -> dict:
    return {
        "title": kind.name,
        "type": "object",
        "properties": {param.name: _param_schema(param) for param in kind.params},
        "required": [param.name for param in kind.params if param.required],
        "additionalProperties": False,
    }


PARAMS_SCHEMA = {
    "description": "The parameters of the kind; lengths in the body's unit, angles in degrees.",
    "anyOf": [_kind_schema(kind) for kind in KINDS.values()],
}


@extend_schema_field(PARAMS_SCHEMA)
class ParamsField(serializers.JSONField):
    pass


class AllowancesIn(serializers.Serializer):
    lap = serializers.FloatField(required=False, help_text="Beyond the seam.")
    edge_a = serializers.FloatField(
        required=False, help_text="Edge A of each segment, and end A if left raw."
    )
    edge_b = serializers.FloatField(
        required=False, help_text="Edge B of each segment, and end B if left raw."
    )
    end_a = serializers.FloatField(required=False, help_text="The fitting's free end A.")
    end_b = serializers.FloatField(required=False, help_text="The fitting's free end B.")
    end_c = serializers.FloatField(
        required=False, help_text="The fitting's third free end, a branch. Left out: as end B."
    )


PRESSURE_HELP = (
    f"In. w.g., {PRESSURE[0]:g} to {PRESSURE[1]:g}, negative below the room's pressure. A gauge lighter than "
    "the shop's table lists for it is warned about; local codes and the project's specification decide."
)


@extend_schema_field({"type": "number", "minimum": -PRESSURE[1], "maximum": PRESSURE[1]})
class PressureField(serializers.FloatField):
    pass


class Warned(serializers.Serializer):
    code = serializers.CharField()
    message = serializers.CharField()


# -- develop -----------------------------------------------------------------

ELBOW = {
    "kind": "gored_elbow",
    "material": "galvanized",
    "gauge": 24,
    "params": {"diameter": 14, "angle": 90, "pieces": 5, "radius_ratio": 1.5},
}


class Spec(serializers.Serializer):
    kind = serializers.ChoiceField(choices=list(KINDS))
    material = serializers.CharField(help_text="A material of the shop's gauges table.")
    gauge = serializers.IntegerField(help_text="A gauge of that material.")
    params = ParamsField()
    end_a = serializers.CharField(required=False, default="raw", help_text="A finish of the ends table.")
    end_b = serializers.CharField(required=False, default="raw", help_text="A finish of the ends table.")
    end_c = serializers.CharField(
        required=False,
        allow_blank=True,
        help_text="The third free end of kinds that have one (the branch of a tee); blank: as end B.",
    )
    joins_a = serializers.CharField(
        required=False,
        allow_blank=True,
        help_text="The finish of the end that end A meets; blank: not told. Ends that do not go together are "
        "warned about.",
    )
    joins_b = serializers.CharField(required=False, allow_blank=True, help_text="The same for end B.")
    joins_c = serializers.CharField(required=False, allow_blank=True, help_text="The same for end C.")
    pressure_class = PressureField(required=False, allow_null=True, help_text=PRESSURE_HELP)
    allowances = AllowancesIn(required=False, allow_null=True, help_text="Left out: the shop's own table.")


@extend_schema_serializer(
    examples=[
        OpenApiExample(
            "A 14 in elbow",
            {**ELBOW, "unit": "in", "allowances": {"lap": 0.5, "edge_a": 0.25, "edge_b": 0.375}},
            request_only=True,
        )
    ]
)
class DevelopIn(Spec):
    unit = serializers.ChoiceField(choices=UNIT, required=False, default="in")


_POINTS = {
    "type": "array",
    "items": {"type": "array", "items": {"type": "number"}, "minItems": 2, "maxItems": 2},
}


@extend_schema_field(_POINTS)
class PointsField(serializers.ListField):
    pass


@extend_schema_field({"type": "array", "items": _POINTS})
class HolesField(serializers.ListField):
    pass


@extend_schema_field({"type": "array", "items": {"type": "array", "items": {"type": "array"}}})
class SpaceField(serializers.ListField):
    pass


class Blank(serializers.Serializer):
    width = serializers.FloatField()
    height = serializers.FloatField()


class Mark(serializers.Serializer):
    name = serializers.CharField()
    line = PointsField()
    angle = serializers.FloatField(required=False, help_text="To brake there, degrees; only of bends.")


class Plate(serializers.Serializer):
    number = serializers.IntegerField()
    of = serializers.IntegerField()
    x_range = serializers.ListField(child=serializers.FloatField(), min_length=2, max_length=2)
    lap = serializers.FloatField()
    start_angle = serializers.FloatField()
    net_outline = PointsField()
    cut_outline = PointsField()
    net_area = serializers.FloatField()
    cut_area = serializers.FloatField()
    weight = serializers.FloatField()
    blank = Blank()
    holes = HolesField()
    marks = Mark(many=True)


class SegmentOut(serializers.Serializer):
    position = serializers.IntegerField()
    role = serializers.CharField()
    pattern = serializers.CharField(help_text="Shared by equal patterns.")
    form = serializers.ChoiceField(
        choices=list(FORMS), help_text="Rolled, rolled to a cone, braked, or flat."
    )
    seam_at = serializers.CharField()
    stretch_out = serializers.FloatField(allow_null=True, help_text="The longer edge; null where flat.")
    throat = serializers.FloatField(allow_null=True)
    heel = serializers.FloatField(allow_null=True)
    seam_length = serializers.FloatField()
    lap = serializers.FloatField()
    net_outline = PointsField(help_text="Closed, counter-clockwise, first point not repeated.")
    cut_outline = PointsField(help_text="What the table cuts.")
    edge_a = PointsField()
    edge_b = PointsField()
    start_angle = serializers.FloatField(help_text="Of x = 0 round the duct from the throat, degrees.")
    net_area = serializers.FloatField()
    cut_area = serializers.FloatField()
    weight = serializers.FloatField()
    blank = Blank()
    holes = HolesField(help_text="Cut out of the pattern; not in the areas.")
    marks = Mark(many=True)
    plates = Plate(many=True, required=False, help_text="Where the segment exceeds the stock.")
    space = SpaceField(
        help_text="Strips of the surface in the fitting's frame, two rows of points [x, y, z] each."
    )


class FreeEndOut(serializers.Serializer):
    end = serializers.ChoiceField(choices=LETTERS)
    title = serializers.CharField()
    shape = serializers.ChoiceField(choices=["round", "rectangular"])
    diameter = serializers.FloatField(allow_null=True)
    width = serializers.FloatField(allow_null=True)
    height = serializers.FloatField(allow_null=True)
    segment = serializers.IntegerField(help_text="Position of the segment that it belongs to.")
    edge_length = serializers.FloatField()


class FittedEndOut(serializers.Serializer):
    end = serializers.ChoiceField(choices=LETTERS)
    title = serializers.CharField()
    finish = serializers.CharField()
    goes = serializers.ChoiceField(choices=list(GOES), help_text="How it meets the next piece.")
    inside_diameter = serializers.FloatField(
        allow_null=True, help_text="As finished; null where rectangular."
    )
    outside_diameter = serializers.FloatField(allow_null=True)
    girth = serializers.FloatField(allow_null=True)
    length = serializers.FloatField(help_text="That goes inside, or the upstand of a flange or ring.")
    joins = serializers.CharField(allow_blank=True, help_text="The neighbour's finish; blank: not told.")
    fits = serializers.BooleanField(
        allow_null=True, help_text="null: not told, or no row of the pairs table."
    )
    note = serializers.CharField(allow_blank=True, help_text="How they are joined, or why they are not.")


class DevelopOut(serializers.Serializer):
    kind = serializers.CharField()
    unit = serializers.ChoiceField(choices=UNIT)
    weight_unit = serializers.ChoiceField(choices=["lb", "kg"])
    material = serializers.CharField()
    gauge = serializers.IntegerField()
    thickness = serializers.FloatField()
    dimensions = serializers.DictField(child=serializers.FloatField())
    segments = SegmentOut(many=True)
    net_area = serializers.FloatField()
    cut_area = serializers.FloatField()
    weight = serializers.FloatField()
    joint_length = serializers.FloatField(help_text="Of all joints between segments.")
    free_ends = FreeEndOut(many=True)
    ends = FittedEndOut(many=True, help_text="The free ends as they are finished, in the same order.")
    warnings = Warned(many=True)


# -- orders ------------------------------------------------------------------


class LineIn(Spec):
    quantity = serializers.IntegerField(min_value=QUANTITY[0], max_value=QUANTITY[1])
    tag = serializers.CharField(
        required=False, allow_blank=True, max_length=60, help_text="The drawing's mark."
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
    traveler_per = serializers.ChoiceField(choices=OrderLine.TravelerPer.choices)
    warnings = Warned(many=True, help_text="What is unusual about the fitting, with the reason.")


class OrderOut(OrderRow):
    unit = serializers.ChoiceField(choices=UNIT)
    lines = LineOut(many=True)


# -- customers, tables, kinds ------------------------------------------------


class CustomerIn(serializers.Serializer):
    name = serializers.CharField(max_length=120)
    contact = serializers.CharField(required=False, allow_blank=True, max_length=200)
    notes = serializers.CharField(required=False, allow_blank=True, max_length=2000)
    is_active = serializers.BooleanField(required=False, help_text="Offered in forms.")


class CustomerChangeIn(CustomerIn):
    name = serializers.CharField(required=False, max_length=120)


class CustomerOut(serializers.Serializer):
    id = serializers.IntegerField()
    name = serializers.CharField()
    contact = serializers.CharField(allow_blank=True)
    notes = serializers.CharField(allow_blank=True)
    is_active = serializers.BooleanField()


class ColumnOut(serializers.Serializer):
    name = serializers.CharField()
    label = serializers.CharField()
    kind = serializers.CharField(help_text="text, number or whole")
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
