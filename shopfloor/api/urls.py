"""API addresses of the floor, below /api/v1/."""

from django.urls import path

from shopfloor.api import (
    analysis,
    board,
    costs,
    devices,
    downtimes,
    find,
    floor_plan,
    health,
    operators,
    outward,
    people,
    scans,
    station_sheets,
    supervision,
)

urlpatterns = [
    # scans/
    path("scans/", scans.scans, name="api_scans"),
    # station/
    path("station/queue/", devices.station_queue, name="api_station_queue"),
    path("station/pieces/<str:code>/", devices.station_piece, name="api_station_piece"),
    path("stations/sheets.pdf", station_sheets.sheets_pdf, name="api_station_sheets"),
    path("station/down/", devices.station_is_down, name="api_station_down"),
    path("station/up/", devices.station_runs, name="api_station_up"),
    # exceptions/, tablets/
    path("exceptions/", supervision.exceptions, name="api_exceptions"),
    path("exceptions/settle/", supervision.exceptions_settle, name="api_exceptions_settle"),
    path("tablets/", supervision.tablets, name="api_tablets"),
    path("tablets/<int:pk>/revoke/", supervision.tablet_revoke, name="api_tablet_revoke"),
    # events/, webhooks/, programs/
    path("events/", outward.event_feed, name="api_events"),
    path("webhooks/", outward.webhooks, name="api_webhooks"),
    path("webhooks/<int:pk>/", outward.webhook, name="api_webhook"),
    path("webhooks/<int:pk>/go-on/", outward.webhook_go_on, name="api_webhook_go_on"),
    path("webhooks/<int:pk>/secret/", outward.webhook_secret, name="api_webhook_secret"),
    path("webhooks/<int:pk>/trial/", outward.webhook_trial, name="api_webhook_trial"),
    path("programs/", outward.programs, name="api_programs"),
    path("programs/<int:pk>/", outward.program, name="api_program"),
    path("programs/<int:pk>/key/", outward.program_key, name="api_program_key"),
    # people/, operators/
    path("people/", people.person_list, name="api_people"),
    path("people/changes/", people.person_changes, name="api_people_changes"),
    path("people/<str:name>/", people.person_detail, name="api_person"),
    path("operators/", operators.operator_list, name="api_operators"),
    path("operators/badges.pdf", operators.operator_badges, name="api_badges"),
    path("operators/<str:code>/", operators.operator_detail, name="api_operator"),
    # costs/, quotes/
    path("costs/", costs.month_costs, name="api_costs"),
    path("orders/<str:number>/costs/", costs.order_costs, name="api_order_costs"),
    path("orders/<str:number>/prices/", costs.order_prices, name="api_order_prices"),
    path("orders/<str:number>/quotes/", costs.order_quotes, name="api_order_quotes"),
    path("orders/<str:number>/quote.pdf", costs.quote_pdf, name="api_quote_pdf"),
    path("quotes/<int:quote>/", costs.quote, name="api_quote"),
    # flow/, measured-times/, what-if/, floor-plan/
    path("flow/", analysis.flow, name="api_flow"),
    path("measured-times/", analysis.measured_times, name="api_measured_times"),
    path("measured-times/adopt/", analysis.measured_adopt, name="api_measured_adopt"),
    path("what-if/", analysis.what_if, name="api_what_if"),
    path("what-if/<int:pk>/", analysis.study, name="api_study"),
    path("what-if/<int:pk>/stop/", analysis.study_stop, name="api_study_stop"),
    path("floor-plan/", floor_plan.floor_plan, name="api_floor_plan"),
    path("floor-plan/<int:pk>/", floor_plan.layout, name="api_layout"),
    path("floor-plan/<int:pk>/try/", floor_plan.layout_try, name="api_layout_try"),
    path("floor-plan/<int:pk>/stands/", floor_plan.layout_stands, name="api_layout_stands"),
    # find/
    path("find/", find.find_all, name="api_find"),
    # downtimes/
    path("downtimes/", downtimes.downtimes, name="api_downtimes"),
    path("downtimes/<int:pk>/end/", downtimes.downtime_end, name="api_downtime_end"),
    # health/
    path("health/", health.health, name="api_health"),
    # board/
    path("board/", board.board, name="api_board"),
    path("board/stream/", board.board_stream, name="api_board_stream"),
]
