"""Pages of the floor."""

from django.urls import path

from shopfloor.views import (
    board,
    costs,
    downtimes,
    exceptions,
    find,
    first_steps,
    floor_plan,
    flow,
    hub,
    lists,
    measured,
    operators,
    people,
    programs,
    promises,
    shop,
    sign_in,
    stations,
    studies,
    tablet,
    where,
)

urlpatterns = [
    # sign-in
    path("", sign_in.home, name="home"),
    path("sign-in/", sign_in.sign_in, name="sign_in"),
    path("sign-out/", sign_in.sign_out, name="sign_out"),
    path("admin/login/", sign_in.admin_sign_in),
    # stations, tablets, operators
    path("stations/", stations.stations, name="stations"),
    path("stations/add/", stations.station_add, name="station_add"),
    path("stations/operators/", operators.operators, name="operators"),
    path("stations/operators/badges.pdf", operators.badges, name="badges"),
    path("stations/operators/<int:pk>/active/", operators.operator_active, name="operator_active"),
    path("stations/operators/<int:pk>/language/", operators.operator_language, name="operator_language"),
    path("stations/operators/<int:pk>/name/", operators.operator_name, name="operator_name"),
    path("stations/tablets/<int:pk>/revoke/", stations.tablet_revoke, name="tablet_revoke"),
    path("stations/at/<slug:code>/", stations.station_edit, name="station_edit"),
    path("stations/at/<slug:code>/down/", downtimes.station_down, name="station_down"),
    path("stations/downtimes/<int:pk>/end/", downtimes.downtime_end, name="downtime_end"),
    path("stations/at/<slug:code>/enrolment/", stations.enrolment, name="enrolment"),
    path("enrol/", stations.enrol, name="enrol"),
    # settings
    path("settings/", hub.settings_page, name="settings"),
    path("settings/shop/", shop.shop, name="shop_form"),
    path("settings/people/", people.people, name="people"),
    path("settings/people/new/", people.person_new, name="person_new"),
    path("settings/people/<str:name>/", people.person_edit, name="person"),
    path("settings/people/<str:name>/active/", people.person_active, name="person_active"),
    path("settings/people/<str:name>/password/", people.person_password, name="person_password"),
    path("password/", people.own_password, name="own_password"),
    path("first-steps/", first_steps.first_steps, name="first_steps"),
    path("first-steps/stations/", first_steps.stations_add, name="first_steps_stations"),
    # station tablet
    path("station/", tablet.station, name="station"),
    path("station/sw.js", tablet.worker, name="station_worker"),
    # find
    path("find/", find.find_page, name="find"),
    path("find/first/", find.find_part, name="find_first"),
    # exceptions
    path("exceptions/", exceptions.exceptions, name="exceptions"),
    # board
    path("board/", board.board, name="board"),
    path("board/part/", board.board_part, name="board_part"),
    path("board/stream/", board.board_stream, name="board_stream"),
    path("board/figures/", studies.figures, name="figures_meant"),
    # lists
    path("lists/<str:name>.<str:form>", lists.list_file, name="list_file"),
    # flow
    path("flow/", flow.flow, name="flow"),
    path("flow/figures.csv", flow.flow_csv, name="flow_csv"),
    # what if
    path("what-if/", studies.what_if, name="what_if"),
    path("what-if/<int:pk>/", studies.study, name="study"),
    path("what-if/<int:pk>/progress/", studies.study_progress, name="study_progress"),
    path("what-if/<int:pk>/stop/", studies.study_stop, name="study_stop"),
    path("what-if/<int:pk>/remove/", studies.study_remove, name="study_remove"),
    # measured times
    path("measured-times/", measured.measured_times, name="measured_times"),
    path("measured-times/adopt/", measured.measured_adopt, name="measured_adopt"),
    # floor plan
    path("floor-plan/", floor_plan.floor_plan, name="floor_plan"),
    path("floor-plan/room/", floor_plan.room, name="floor_room"),
    path("floor-plan/<int:pk>/", floor_plan.layout, name="layout"),
    path("floor-plan/<int:pk>/edit/", floor_plan.layout_edit, name="layout_edit"),
    path("floor-plan/<int:pk>/try/", floor_plan.layout_try, name="layout_try"),
    path("floor-plan/<int:pk>/stands/", floor_plan.layout_stands, name="layout_stands"),
    path("floor-plan/<int:pk>/remove/", floor_plan.layout_remove, name="layout_remove"),
    # costs
    path("costs/", costs.month, name="costs"),
    path("costs/month.<str:form>", costs.month_sheet, name="costs_sheet"),
    path("orders/<str:number>/costs/", costs.order_costs, name="order_costs"),
    path("orders/<str:number>/costs/part/", costs.order_costs_part, name="order_costs_part"),
    path("orders/<str:number>/price/", costs.price_set, name="price_set"),
    path("orders/<str:number>/quotes/", costs.quote_make, name="quote_make"),
    path("quotes/<int:quote>/mark/", costs.quote_mark, name="quote_mark"),
    # promises
    path("orders/<str:number>/promise/", promises.order_promise, name="order_promise"),
    path("orders/<str:number>/promise/ask/", promises.promise_ask, name="promise_ask"),
    # other systems
    path("settings/programs/", programs.programs, name="programs"),
    path("settings/programs/<int:pk>/", programs.program_change, name="program_change"),
    path("settings/programs/<int:pk>/key/", programs.program_key, name="program_key"),
    path("settings/webhooks/", programs.webhooks, name="webhooks"),
    path("settings/webhooks/<int:pk>/", programs.webhook, name="webhook"),
    path("settings/webhooks/<int:pk>/go-on/", programs.webhook_go_on, name="webhook_go_on"),
    path("settings/webhooks/<int:pk>/secret/", programs.webhook_secret, name="webhook_secret"),
    path("settings/webhooks/<int:pk>/trial/", programs.webhook_trial, name="webhook_trial"),
    path("settings/webhooks/<int:pk>/remove/", programs.webhook_remove, name="webhook_remove"),
    # where
    path("where/", where.where, name="where"),
]
