"""API addresses of this package, below /api/v1/."""

from django.urls import path

from travelers import amend_api, api, cut_api, delivery_api, kept_api, paper_api

urlpatterns = [
    # orders/<number>/
    path("orders/<str:number>/release/", api.order_release, name="api_order_release"),
    path("orders/<str:number>/cancel/", api.order_cancel, name="api_order_cancel"),
    path("orders/<str:number>/change/", amend_api.order_change, name="api_order_change"),
    path("orders/<str:number>/changes/", amend_api.order_changes, name="api_order_changes"),
    path("orders/<str:number>/pin/", api.order_pin, name="api_order_pin"),
    path("orders/<str:number>/unpin/", api.order_unpin, name="api_order_unpin"),
    path("orders/<str:number>/travelers.pdf", api.travelers_pdf, name="api_travelers_pdf"),
    path("orders/<str:number>/labels.pdf", api.labels_pdf, name="api_labels_pdf"),
    path("orders/<str:number>/packing-list.pdf", api.packing_list_pdf, name="api_packing_list_pdf"),
    path("orders/<str:number>/kept/", kept_api.order_kept, name="api_order_kept"),
    # kept/
    path("kept/", kept_api.kept_list, name="api_kept"),
    path("kept/<int:piece_id>/", kept_api.kept_detail, name="api_kept_piece"),
    path("orders/<str:number>/confirmation.pdf", paper_api.confirmation_pdf, name="api_confirmation_pdf"),
    # orders/<number>/papers/
    path("orders/<str:number>/papers/", paper_api.order_papers, name="api_order_papers"),
    path("orders/<str:number>/papers/<int:pk>/", paper_api.order_paper, name="api_order_paper"),
    path("orders/<str:number>/papers/<int:pk>/stop/", paper_api.order_paper_stop, name="api_paper_stop"),
    path("orders/<str:number>/papers/<int:pk>/file.pdf", paper_api.order_paper_file, name="api_paper_file"),
    # orders/<number>/deliveries/
    path("orders/<str:number>/deliveries/", delivery_api.order_deliveries, name="api_deliveries"),
    path("orders/<str:number>/deliveries/<int:delivery>/", delivery_api.order_delivery, name="api_delivery"),
    path(
        "orders/<str:number>/deliveries/<int:delivery>/receive/",
        delivery_api.order_delivery_receive,
        name="api_delivery_receive",
    ),
    path(
        "orders/<str:number>/deliveries/<int:delivery>/take-back/",
        delivery_api.order_delivery_take_back,
        name="api_delivery_take_back",
    ),
    path(
        "orders/<str:number>/deliveries/<int:delivery>/note.pdf",
        delivery_api.order_delivery_note,
        name="api_delivery_note",
    ),
    path("deliveries/", delivery_api.open_list, name="api_deliveries_open"),
    # letterhead/
    path("letterhead/", paper_api.letterhead_detail, name="api_letterhead"),
    # fittings/
    path("fittings/", api.fitting_list, name="api_fittings"),
    path("fittings/<str:code>/", api.fitting_detail, name="api_fitting"),
    path("where/", api.where, name="api_where"),
    # cut-work/, cut-plans/
    path("cut-work/", cut_api.work_list, name="api_cut_work"),
    path("cut-plans/", cut_api.plan_list, name="api_cut_plans"),
    path("cut-plans/<int:number>/", cut_api.plan_detail, name="api_cut_plan"),
    path("cut-plans/<int:number>/stop/", cut_api.plan_stop, name="api_cut_plan_stop"),
    path("cut-plans/<int:number>/again/", cut_api.plan_again, name="api_cut_plan_again"),
    path("cut-plans/<int:number>/drop/", cut_api.plan_drop, name="api_cut_plan_drop"),
    path("cut-plans/<int:number>/send/", cut_api.plan_send, name="api_cut_plan_send"),
    path("cut-plans/<int:number>/sheets.pdf", cut_api.plan_pdf, name="api_cut_plan_pdf"),
    path("cut-plans/<int:number>/sheets.zip", cut_api.plan_dxf, name="api_cut_plan_dxf"),
    # cut-sheets/
    path("cut-sheets/<str:key>/", cut_api.sheet_detail, name="api_cut_sheet"),
    path("cut-sheets/<str:key>.svg", cut_api.sheet_svg, name="api_cut_sheet_svg"),
    path("cut-sheets/<str:key>.pdf", cut_api.sheet_pdf, name="api_cut_sheet_pdf"),
    path("cut-sheets/<str:key>.dxf", cut_api.sheet_dxf, name="api_cut_sheet_dxf"),
    path("cut-sheets/<str:key>/take-off/", cut_api.sheet_take_off, name="api_cut_take_off"),
]
