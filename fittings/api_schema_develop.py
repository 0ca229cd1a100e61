"""The requests and answers of the development of one fitting, for the OpenAPI schema."""

from __future__ import annotations

from drf_spectacular.utils import OpenApiExample, extend_schema_field, extend_schema_serializer
from rest_framework import serializers

from fittings.developing import PRESSURE
from fittings.ends import LETTERS
from fittings.geometry import KINDS, Kind, Param
from fittings.geometry.development import FORMS
from fittings.geometry.fit import GOES

UNIT = ["in", "mm"]


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
