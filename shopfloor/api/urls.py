"""API addresses of the floor, below /api/v1/."""

from django.urls import path

from shopfloor.api import board, devices, health, scans

urlpatterns = [
    # scans/
    path("scans/", scans.scans, name="api_scans"),
    # station/
    path("station/queue/", devices.station_queue, name="api_station_queue"),
    path("station/pieces/<str:code>/", devices.station_piece, name="api_station_piece"),
    # health/
    path("health/", health.health, name="api_health"),
    # board/
    path("board/", board.board, name="api_board"),
    path("board/stream/", board.board_stream, name="api_board_stream"),
]
