"""Pages of the floor."""

from django.urls import path

from shopfloor.views import board, exceptions, sign_in, stations, tablet, where

urlpatterns = [
    # sign-in
    path("", sign_in.home, name="home"),
    path("sign-in/", sign_in.sign_in, name="sign_in"),
    path("sign-out/", sign_in.sign_out, name="sign_out"),
    path("admin/login/", sign_in.admin_sign_in),
    # stations, tablets, operators
    path("stations/", stations.stations, name="stations"),
    path("stations/add/", stations.station_add, name="station_add"),
    path("stations/operators/", stations.operators, name="operators"),
    path("stations/operators/<int:pk>/active/", stations.operator_active, name="operator_active"),
    path("stations/tablets/<int:pk>/revoke/", stations.tablet_revoke, name="tablet_revoke"),
    path("stations/at/<slug:code>/", stations.station_edit, name="station_edit"),
    path("stations/at/<slug:code>/enrolment/", stations.enrolment, name="enrolment"),
    path("enrol/", stations.enrol, name="enrol"),
    # station tablet
    path("station/", tablet.station, name="station"),
    path("station/sw.js", tablet.worker, name="station_worker"),
    # exceptions
    path("exceptions/", exceptions.exceptions, name="exceptions"),
    # board
    path("board/", board.board, name="board"),
    path("board/part/", board.board_part, name="board_part"),
    # where
    path("where/", where.where, name="where"),
]
