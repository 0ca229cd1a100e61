"""The API of nesting alone: parts and stock in, a layout out, nothing stored."""

from __future__ import annotations

import threading
from typing import Any

from drf_spectacular.utils import extend_schema
from rest_framework.decorators import api_view
from rest_framework.response import Response

from fittings import api_schema as schema
from fittings import api_schema_nest as nest_schema
from fittings.api import ANYONE
from fittings.cutting import Layout, Placement, nest
from fittings.cutting.unplaced import why_unplaced
from fittings.nest_reading import SECONDS, NestAsked, read_nest
from shared.api import json_object
from shared.problems import Busy
from shared.roles import actor_of
from shared.units import MM_PER_IN

AT_ONCE = 2  # searches in one process; more would only slow each other, and the pages
LONGEST_WAIT = 60.0  # seconds for a turn

_turns = threading.BoundedSemaphore(AT_ONCE)


@extend_schema(
    operation_id="nest",
    tags=["nest"],
    request=nest_schema.NestIn,
    responses=schema.answers(400, 413, 415, _200=nest_schema.NestOut),
    description="Places parts on stock and stores nothing; answers when the time asked for is spent, or sooner. "
    f"`seconds` can be {SECONDS[0]:g} to {SECONDS[1]:g}. At most {AT_ONCE} searches run at once in a process; "
    "one that has waited a minute for its turn is answered 503.",
)
@api_view(["POST"])
def nest_parts(request):
    """Parts placed on stock."""
    actor_of(request, *ANYONE)
    asked = read_nest(json_object(request))
    if not _turns.acquire(timeout=LONGEST_WAIT):
        raise Busy("Other layouts are being searched for. Nothing was changed; try again.", retry_after=10)
    try:
        layout = nest(asked.work, seconds=asked.seconds, seed=asked.seed)
    finally:
        _turns.release()
    return Response(nest_answer(asked, layout))


def nest_answer(asked: NestAsked, layout: Layout) -> dict[str, Any]:
    """The layout as the HTTP contract shows it, lengths in the unit of the request."""
    scale = MM_PER_IN if asked.unit == "mm" else 1.0
    parts = {part.id: part for part in asked.work.parts}
    return {
        "unit": asked.unit,
        "sheets": [
            {
                "stock": sheet.stock.name,
                "used_length": float(sheet.used_length) * scale,
                "utilisation": float(sheet.utilisation),
                "placements": [_placement(one, scale) for one in sheet.placements],
            }
            for sheet in layout.sheets
        ],
        "unplaced": [
            {
                "id": one.part,
                "count": int(one.count),
                "why": why_unplaced(parts[one.part], asked.work, unit=asked.unit),
            }
            for one in layout.unplaced
        ],
        "utilisation": float(layout.utilisation),
        "bound": float(layout.bound),
        "method": layout.method,
    }


def _placement(one: Placement, scale: float) -> dict[str, Any]:
    placed: dict[str, Any] = {
        "id": one.part,
        "x": float(one.x) * scale,
        "y": float(one.y) * scale,
        "rotation": float(one.rotation),
    }
    if one.alternative:
        placed["alternative"] = int(one.alternative)
    return placed
