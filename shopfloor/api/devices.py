"""What a station's tablet asks for: its queue, and one piece. With the station's key alone."""

from __future__ import annotations

from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import extend_schema
from rest_framework.decorators import api_view
from rest_framework.response import Response

from shared.roles import OPERATOR, actor_of
from shopfloor.tablet import piece_data, station_data

FRESH = {"Cache-Control": "no-store"}


@extend_schema(operation_id="station_queue", tags=["station"], responses=OpenApiTypes.OBJECT)
@api_view(["GET"])
def station_queue(request):
    """The station, its badges and cautions, and the pieces that are next here."""
    return Response(station_data(actor_of(request, OPERATOR)), headers=FRESH)


@extend_schema(operation_id="station_piece", tags=["station"], responses=OpenApiTypes.OBJECT)
@api_view(["GET"])
def station_piece(request, code):
    """One piece by any of its codes, with the numbers that matter at this station."""
    return Response(piece_data(code, actor_of(request, OPERATOR)), headers=FRESH)
