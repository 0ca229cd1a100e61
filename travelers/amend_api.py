"""The API of changes of a released order: shown, made, and what made each version."""

from __future__ import annotations

from typing import Any

from django.utils import timezone
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework.decorators import api_view

from fittings import api_schema as schema
from fittings.idempotency import answer_once
from fittings.models import OrderChange
from fittings.selectors import order_answer, order_by_number
from shared.api import Pages, json_object
from shared.roles import OFFICE, SUPERVISOR, actor_of
from travelers import amend
from travelers.amend_api_schema import ChangeIn, ChangeOut, ChangesOut
from travelers.amend_kept import change_offers
from travelers.amend_meaning import Meaning, Shown
from travelers.amend_started import Metal, Step
from travelers.kept_api import offer_answer


@extend_schema(
    operation_id="orders_change_released",
    tags=["orders"],
    parameters=[schema.IDEMPOTENCY_KEY],
    request=ChangeIn,
    responses=schema.answers(400, 404, 409, 413, 415, 422, _200=ChangeOut),
    description="Change a released order, all or nothing: lines added, cancelled, their quantity or their fitting "
    "changed. With `dry_run` it is only told what the change means and costs; send its `seen` along to make the change "
    "only if it means the same still. `started` says what becomes of work that is started and would go: `keep` (where "
    "it is left out), `scrap`, or `go_on` (finished and delivered all the same).",
)
@api_view(["POST"])
def order_change(request, number: str):
    """Show or make a change of a released order."""
    actor = actor_of(request, OFFICE, SUPERVISOR)
    data = json_object(request)

    def made() -> tuple[int, dict[str, Any]]:
        if data.get("dry_run") is True:
            shown = amend.change_show(number=number, data=data, now=timezone.now())
            return 200, change_answer(shown, is_made=False)
        shown = amend.order_change(number=number, data=data, actor=actor, now=timezone.now())
        return 200, change_answer(shown, is_made=True)

    return answer_once(request, actor, made)


@extend_schema(
    operation_id="orders_changes",
    tags=["orders"],
    parameters=[
        OpenApiParameter("page", OpenApiTypes.INT),
        OpenApiParameter("page_size", OpenApiTypes.INT),
    ],
    responses=schema.answers(404, _200=ChangesOut),
    description="What made each version of an order, the newest first: who, when, and what in words.",
)
@api_view(["GET"])
def order_changes(request, number: str):
    """The history of an order."""
    actor_of(request, OFFICE, SUPERVISOR)
    pages = Pages()
    found = order_by_number(number).changes.order_by("-version")
    page = pages.paginate_queryset(found, request)
    return pages.get_paginated_response([_version(change) for change in page])


def _version(change: OrderChange) -> dict[str, Any]:
    return {
        "version": change.version,
        "made_at": change.made_at,
        "made_by": change.made_by,
        "changes": [
            {"what": name.replace("_", " "), "before": before, "after": after}
            for name, (before, after) in sorted(change.fields.items(), key=lambda one: one[0] == "note")
        ],
    }


def change_answer(shown: Shown, *, is_made: bool) -> dict[str, Any]:
    """What a change means, or meant; the order as it is now."""
    return {
        "order": order_answer(shown.order.number),
        "is_made": is_made,
        "seen": shown.seen,
        "fittings": shown.fittings_after,
        "lines": [_line(line) for line in shown.lines],
        "kept_offers": [] if is_made else [offer_answer(offer) for offer in change_offers(shown)],
    }


def _line(line: Meaning) -> dict[str, Any]:
    wish = line.wish
    return {
        "line": wish.line.position if wish.line else None,
        "what": wish.kind,
        "before": line.before,
        "after": line.after,
        "made": line.made,
        "stays": line.stays,
        "over": line.over,
        "void": line.void,
        "begun": line.begun,
        "finished": line.finished,
        "started": line.started,
        "so_far": [_step(step) for step in line.so_far],
        "going": [_step(step) for step in line.going],
        "scrap": _metal(line.scrap),
        "kept": _metal(line.kept),
        "kept_fittings": line.kept_whole,
        "scrapped_fittings": line.scrap_whole,
        "hours": round(line.hours, 3),
        "sheets": list(line.sheets.words),
        "travelers": list(line.travelers),
    }


def _step(step: Step) -> dict[str, Any]:
    return {
        "operation": step.operation,
        "done": step.done,
        "running": step.running,
        "of": "fitting" if step.is_whole else "segment",
    }


def _metal(metal: Metal) -> dict[str, Any]:
    return {
        "pieces": metal.pieces,
        "area_in2": round(metal.area_in2, 2),
        "weight_lb": round(metal.weight_lb, 3),
        "cost": None if metal.cost is None else str(metal.cost),
    }
