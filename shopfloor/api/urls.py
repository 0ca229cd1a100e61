"""API addresses of the floor, below /api/v1/."""

from django.urls import path

from shopfloor.api import scans

urlpatterns = [
    # scans/
    path("scans/", scans.scans, name="api_scans"),
]
