"""/api/v1/stations/sheets.pdf: the work of the stations on paper."""

from __future__ import annotations

from django.utils import timezone
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework.decorators import api_view

from fittings import api_schema as schema
from shared.roles import OFFICE, SUPERVISOR, actor_of
from shopfloor.station_sheets import station_sheets
from travelers.api import pdf_response


@extend_schema(
    operation_id="station_sheets_pdf",
    tags=["papers"],
    parameters=[
        OpenApiParameter("station", OpenApiTypes.STR, description="A station's code; all in use if left out.")
    ],
    responses={(200, "application/pdf"): OpenApiTypes.BINARY, **schema.answers(404)},
)
@api_view(["GET"])
def sheets_pdf(request):
    """What is next at the stations, for a day without power: numbers, boxes to tick, codes to scan later."""
    actor_of(request, OFFICE, SUPERVISOR)
    code = request.query_params.get("station", "")[:20]
    content = station_sheets(code=code, now=timezone.now())
    return pdf_response(content, f"station-sheets{f'-{code}' if code else ''}.pdf")
