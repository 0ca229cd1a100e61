"""/api/v1/floor-plan/: the room, its layouts, what stands where. Lengths in feet, as the plan keeps them."""

from __future__ import annotations

from dataclasses import asdict, fields

from django.utils import timezone
from drf_spectacular.utils import extend_schema, inline_serializer
from rest_framework import serializers
from rest_framework.decorators import api_view
from rest_framework.response import Response

from fittings import api_schema as schema
from fittings.reading import Reading
from shared.api import json_object
from shared.problems import WrongInput
from shared.roles import OFFICE, SUPERVISOR, actor_of
from shopfloor import floor_plan as plans
from shopfloor.floor_travel import USUAL_DAYS, made_lately
from shopfloor.flow.room import Thing
from shopfloor.models import FloorLayout
from shopfloor.working_time import shop_calendar

MOST_THINGS = 200


class RoomBody(serializers.Serializer):
    width = serializers.FloatField(help_text="feet")
    depth = serializers.FloatField(help_text="feet")
    walk = serializers.FloatField(help_text="feet a minute")
    carried = serializers.IntegerField(
        allow_null=True, required=False, help_text="Pieces at once; null: all."
    )


class ThingBody(serializers.Serializer):
    code = serializers.CharField()
    kind = serializers.CharField(required=False)
    x = serializers.FloatField()
    y = serializers.FloatField()
    width = serializers.FloatField(help_text="Before it is turned.")
    depth = serializers.FloatField()
    is_turned = serializers.BooleanField(required=False)
    is_fixed = serializers.BooleanField(required=False)
    clearance = serializers.FloatField(required=False)


class LayoutOut(serializers.Serializer):
    id = serializers.IntegerField()
    name = serializers.CharField()
    is_standing = serializers.BooleanField()
    edition = serializers.IntegerField()
    changed_at = serializers.DateTimeField()
    changed_by = serializers.CharField()
    places = ThingBody(many=True, required=False)


@extend_schema(
    methods=["GET"],
    operation_id="floor_plan",
    tags=["floor plan"],
    responses={
        200: inline_serializer(
            "FloorPlan", {"room": RoomBody(allow_null=True), "layouts": LayoutOut(many=True)}
        )
    },
)
@extend_schema(
    methods=["PUT"],
    operation_id="floor_room",
    tags=["floor plan"],
    request=RoomBody,
    responses=schema.answers(400, _200=RoomBody),
    description="The first time everything is set out in it.",
)
@api_view(["GET", "PUT"])
def floor_plan(request):
    """The room and its layouts; or the room's size and how work is carried in it."""
    if request.method == "GET":
        actor_of(request, OFFICE, SUPERVISOR)
        layouts = FloorLayout.objects.order_by("-is_standing", "pk")
        return Response({"room": _room(), "layouts": [_layout(one) for one in layouts]})
    actor, body = actor_of(request, SUPERVISOR), json_object(request)
    reading = Reading(body)
    reading.only(("width", "depth", "walk", "carried"))
    sizes = {name: _number(reading, name) for name in ("width", "depth", "walk")}
    carried = None if body.get("carried") is None else reading.whole("carried", *plans.CARRIED)
    if reading.errors:
        raise WrongInput(reading.errors)
    plans.room_save(**sizes, carried=carried, actor=actor, now=timezone.now())
    return Response(_room())


@extend_schema(
    methods=["GET"], operation_id="layout", tags=["floor plan"], responses=schema.answers(404, _200=LayoutOut)
)
@extend_schema(
    methods=["PUT"],
    operation_id="layout_save",
    tags=["floor plan"],
    request=inline_serializer(
        "LayoutPlaces", {"edition": serializers.IntegerField(), "places": ThingBody(many=True)}
    ),
    responses=schema.answers(400, 404, 409, _200=LayoutOut),
    description="All that stands in it, whole; `edition` is the one that was seen.",
)
@extend_schema(
    methods=["DELETE"],
    operation_id="layout_remove",
    tags=["floor plan"],
    responses=schema.answers(404, 409, _204=None),
)
@api_view(["GET", "PUT", "DELETE"])
def layout(request, pk):
    """One layout with what stands in it; saved, or taken away."""
    if request.method == "GET":
        actor_of(request, OFFICE, SUPERVISOR)
        return Response(_whole(plans.layout_get(pk)))
    actor, now = actor_of(request, SUPERVISOR), timezone.now()
    if request.method == "DELETE":
        plans.layout_remove(pk=pk, actor=actor, now=now)
        return Response(status=204)
    body = json_object(request)
    reading = Reading(body)
    reading.only(("edition", "places"))
    edition, things = reading.whole("edition", 1, 10**8), _things(reading)
    if reading.errors:
        raise WrongInput(reading.errors)
    return Response(_whole(plans.layout_save(pk=pk, edition=edition, things=things, actor=actor, now=now)))


@extend_schema(
    operation_id="layout_try",
    tags=["floor plan"],
    request=inline_serializer(
        "LayoutTry", {"name": serializers.CharField(), "way": serializers.ChoiceField(plans.WAYS)}
    ),
    responses=schema.answers(400, 404, 409, _201=LayoutOut),
    description="A copy, a pattern, or what a search by the work carried lately proposes.",
)
@api_view(["POST"])
def layout_try(request, pk):
    """Another layout, made of this one."""
    actor, body, now = actor_of(request, SUPERVISOR), json_object(request), timezone.now()
    reading = Reading(body)
    reading.only(("name", "way"))
    name, way = reading.text("name", plans.LONGEST_NAME, shortest=1), reading.text("way", 20, shortest=1)
    if reading.errors:
        raise WrongInput(reading.errors)
    lately = made_lately(shop_calendar(), days=USUAL_DAYS, now=now)
    made = plans.layout_try(pk=pk, name=name, way=way, lately=lately, actor=actor, now=now)
    return Response(_whole(made), status=201)


@extend_schema(
    operation_id="layout_stands",
    tags=["floor plan"],
    request=None,
    responses=schema.answers(404, 409, _200=LayoutOut),
)
@api_view(["POST"])
def layout_stands(request, pk):
    """The floor stands like this now; how it stood is kept as a try."""
    actor = actor_of(request, SUPERVISOR)
    return Response(_whole(plans.layout_stands(pk=pk, actor=actor, now=timezone.now())))


# -- bodies ------------------------------------------------------------------


def _room() -> dict | None:
    row = plans.room_get()
    if row is None:
        return None
    return {
        "width": row.width_ft,
        "depth": row.depth_ft,
        "walk": row.walk_ft_per_min,
        "carried": row.carried,
    }


def _layout(one: FloorLayout) -> dict:
    return {
        "id": one.pk,
        "name": one.name,
        "is_standing": one.is_standing,
        "edition": one.edition,
        "changed_at": one.changed_at,
        "changed_by": one.changed_by,
    }


def _whole(one: FloorLayout) -> dict:
    return _layout(one) | {"places": [asdict(thing) for thing in plans.layout_things(one)]}


def _number(reading: Reading, name: str) -> float:
    value = reading.data.get(name)
    if isinstance(value, bool) or not isinstance(value, int | float) or not abs(value) < 1e6:
        reading.wrong(name, value, "a number of feet")
        return 0.0
    return float(value)


def _things(reading: Reading) -> list[Thing]:
    """What stands in a layout; whether it fits is the service's to say."""
    rows = reading.data.get("places")
    if not isinstance(rows, list) or len(rows) > MOST_THINGS:
        reading.wrong("places", None, f"a list of at most {MOST_THINGS}")
        return []
    known, found = [one.name for one in fields(Thing)], []
    for at, row in enumerate(rows):
        own = Reading(row if isinstance(row, dict) else {}, f"places[{at}].")
        own.only(known)
        values: dict = {"code": own.text("code", 40, shortest=1)}
        for name in ("x", "y", "width", "depth", "clearance"):
            if name in own.data or name != "clearance":
                values[name] = _number(own, name)
        for name in ("is_turned", "is_fixed"):
            value = own.data.get(name, False)
            if not isinstance(value, bool):
                own.wrong(name, value, "true or false")
            values[name] = value is True
        if "kind" in own.data:
            values["kind"] = own.text("kind", 20)
        reading.errors += own.errors
        found.append(Thing(**values))
    return found
