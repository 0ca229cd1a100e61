"""/api/v1/exceptions/ and /api/v1/tablets/: what needs a supervisor's eyes, and the tablets in use."""

from __future__ import annotations

from django.utils import timezone
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiParameter, extend_schema, inline_serializer
from rest_framework import serializers
from rest_framework.decorators import api_view
from rest_framework.response import Response

from fittings import api_schema as schema
from shared.api import Pages, json_object
from shared.problems import FieldError, WrongInput
from shared.roles import SUPERVISOR, actor_of
from shopfloor import needs_eyes
from shopfloor import stations as floor
from shopfloor.needs_eyes_items import Item
from shopfloor.tablets_seen import TabletRow, tablet_rows

SETTLED = "settled"
LISTS = (*needs_eyes.KINDS, SETTLED)


class OpenOut(serializers.Serializer):
    kind = serializers.CharField(help_text=", ".join(needs_eyes.KINDS))
    item = serializers.IntegerField(help_text="With `since` the name of the thing, to settle it by.")
    since = serializers.DateTimeField()
    what = serializers.CharField()
    words = serializers.CharField()
    station = serializers.CharField(allow_blank=True)
    code = serializers.CharField(allow_blank=True)


class ItemIn(serializers.Serializer):
    item = serializers.IntegerField()
    since = serializers.DateTimeField(help_text="As it is listed.")


class TabletOut(serializers.Serializer):
    id = serializers.IntegerField()
    name = serializers.CharField()
    station = serializers.CharField()
    seen_at = serializers.DateTimeField(allow_null=True)
    version = serializers.CharField(allow_blank=True)
    battery = serializers.IntegerField(allow_null=True)
    is_charging = serializers.BooleanField(allow_null=True)
    unsent = serializers.IntegerField(allow_null=True)
    oldest_unsent_at = serializers.DateTimeField(allow_null=True)
    missing = serializers.IntegerField(help_text="Numbered scans that have not come though later ones have.")
    warnings = serializers.ListField(child=serializers.CharField())
    enrolled_at = serializers.DateTimeField()
    enrolled_by = serializers.CharField()


@extend_schema(
    operation_id="exceptions_list",
    tags=["supervision"],
    parameters=[
        OpenApiParameter("kind", OpenApiTypes.STR, enum=LISTS, required=True),
        *schema.PAGING,
    ],
    responses=schema.answers(400, 404, _200=schema.paged(OpenOut)),
    description="With `kind=settled` what was settled, newest first: at, kind, what, how, by, code, is_note.",
)
@api_view(["GET"])
def exceptions(request):
    """What needs a supervisor's eyes, of one kind."""
    actor_of(request, SUPERVISOR)
    kind, now = request.query_params.get("kind", ""), timezone.now()
    if kind not in LISTS:
        limit = ", ".join(LISTS)
        raise WrongInput([FieldError("kind", kind, limit, f"kind is “{kind[:20]}”; it can be {limit}.")])
    pages = Pages()
    if kind == SETTLED:
        rows = pages.paginate_queryset(needs_eyes.settled_rows(now=now), request)
        return pages.get_paginated_response([_settled(one) for one in needs_eyes.settled_of(rows)])
    rows = pages.paginate_queryset(needs_eyes.open_rows(kind, now=now), request)
    return pages.get_paginated_response([_open(one) for one in needs_eyes.items_of(kind, rows, now=now)])


@extend_schema(
    operation_id="exceptions_settle",
    tags=["supervision"],
    request=inline_serializer(
        "Settle",
        {
            "kind": serializers.CharField(help_text=", ".join(needs_eyes.KINDS)),
            "items": ItemIn(many=True),
            "text": serializers.CharField(max_length=needs_eyes.LONGEST_NOTE),
        },
    ),
    responses=schema.answers(
        400, _200=inline_serializer("SettledCount", {"settled": serializers.IntegerField()})
    ),
    description="Settles 1 to 50 of a kind with one note: all of them or none. The record is not changed.",
)
@api_view(["POST"])
def exceptions_settle(request):
    """Settle what needs eyes with a note."""
    actor = actor_of(request, SUPERVISOR)
    body = json_object(request)
    items = body.get("items")
    if not isinstance(items, list):
        limit = f"a list of 1 to {needs_eyes.MOST_AT_ONCE}"
        raise WrongInput([FieldError("items", None, limit, f"items is no list; it can be {limit}.")])
    count = needs_eyes.settle(
        kind=_text(body, "kind"), keys=[_key(one) for one in items], text=_text(body, "text"), actor=actor,
        now=timezone.now(),
    )  # fmt: skip
    return Response({"settled": count})


@extend_schema(
    operation_id="tablets_list",
    tags=["supervision"],
    parameters=schema.PAGING,
    responses=schema.answers(404, _200=schema.paged(TabletOut)),
    description="The tablets in use with what each told last; those with a warning first.",
)
@api_view(["GET"])
def tablets(request):
    """The tablets in use."""
    actor_of(request, SUPERVISOR)
    pages, now = Pages(), timezone.now()
    rows = pages.paginate_queryset(tablet_rows(floor.station_list(now=now), now=now), request)
    return pages.get_paginated_response([_tablet(row) for row in rows])


@extend_schema(
    operation_id="tablet_revoke",
    tags=["supervision"],
    request=None,
    responses=schema.answers(404, _200=inline_serializer("Revoked", {"revoked": serializers.CharField()})),
)
@api_view(["POST"])
def tablet_revoke(request, pk):
    """Revoke a tablet: its key is dead on its next request."""
    actor = actor_of(request, SUPERVISOR)
    tablet = floor.tablet_revoke(tablet_id=pk, actor=actor, now=timezone.now())
    return Response({"revoked": tablet.name})


# -- bodies -----------------------------------------------------------------


def _text(body: dict, name: str) -> str:
    value = body.get(name)
    return value if isinstance(value, str) else ""


def _key(one) -> str:
    """The item's name as `settle` takes it; empty where it is none."""
    if not isinstance(one, dict) or isinstance(one.get("item"), bool):
        return ""
    return f"{one.get('item')} {one.get('since')}"


def _open(one: Item) -> dict:
    return {
        "kind": one.kind,
        "item": one.item,
        "since": one.since,
        "what": one.what,
        "words": one.words,
        "station": one.station,
        "code": one.code,
    }


def _settled(one: needs_eyes.Settled) -> dict:
    return {
        "kind": one.kind,
        "at": one.at,
        "what": one.what,
        "how": one.how,
        "by": one.by,
        "code": one.code,
        "is_note": one.is_note,
    }


def _tablet(row: TabletRow) -> dict:
    tablet = row.tablet
    return {
        "id": tablet.pk,
        "name": tablet.name,
        "station": row.station,
        "seen_at": tablet.seen_at,
        "version": tablet.version,
        "battery": tablet.battery,
        "is_charging": tablet.is_charging,
        "unsent": tablet.unsent,
        "oldest_unsent_at": tablet.oldest_unsent_at,
        "missing": row.missing,
        "warnings": list(row.warnings),
        "enrolled_at": tablet.enrolled_at,
        "enrolled_by": tablet.enrolled_by,
    }
