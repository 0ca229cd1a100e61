"""Pages."""

from django.urls import path

from travelers import (
    amend_views,
    cut_figures_page,
    cut_views,
    delivery_views,
    kept_views,
    operations,
    order_page,
    order_totals,
    paper_views,
)

urlpatterns = [
    # cut-plans/
    path("cut-plans/", cut_views.cut_plans_list, name="cut_plans"),
    path("cut-plans/new/", cut_views.cut_plan_new, name="cut_plan_new"),
    path("cut-plans/figures/", cut_figures_page.cut_figures, name="cut_figures"),
    path("cut-plans/figures.csv", cut_figures_page.cut_figures_csv, name="cut_figures_csv"),
    path("cut-plans/<int:number>/", cut_views.cut_plan, name="cut_plan"),
    path("cut-plans/<int:number>/progress/", cut_views.cut_plan_progress, name="cut_plan_progress"),
    path("cut-plans/<int:number>/comparisons/", cut_views.cut_plan_comparisons, name="cut_plan_comparisons"),
    path("cut-plans/<int:number>/stop/", cut_views.cut_plan_stop, name="cut_plan_stop"),
    path("cut-plans/<int:number>/again/", cut_views.cut_plan_again, name="cut_plan_again"),
    path("cut-plans/<int:number>/drop/", cut_views.cut_plan_drop, name="cut_plan_drop"),
    path("cut-plans/<int:number>/send/", cut_views.cut_plan_send, name="cut_plan_send"),
    path("cut-plans/<int:number>/sheets.pdf", cut_views.cut_plan_pdf, name="cut_plan_pdf"),
    path("cut-plans/<int:number>/sheets.zip", cut_views.cut_plan_dxf, name="cut_plan_dxf"),
    # cut-sheets/
    path("cut-sheets/<int:pk>/", cut_views.cut_sheet, name="cut_sheet"),
    path("cut-sheets/<int:pk>.svg", cut_views.cut_sheet_svg, name="cut_sheet_svg"),
    path("cut-sheets/<int:pk>.pdf", cut_views.cut_sheet_pdf, name="cut_sheet_pdf"),
    path("cut-sheets/<int:pk>.dxf", cut_views.cut_sheet_dxf, name="cut_sheet_dxf"),
    path("cut-sheets/<int:pk>/take-off/", cut_views.cut_piece_off, name="cut_piece_off"),
    # operations/
    path("operations/", operations.operations, name="operations"),
    path("operations/<str:code>/", operations.operation_edit, name="operation_edit"),
    # stock/kept/
    path("stock/kept/", kept_views.kept, name="kept"),
    path("stock/kept/new/", kept_views.kept_new, name="kept_new"),
    path("stock/kept/<int:pk>/", kept_views.kept_piece, name="kept_piece"),
    path("stock/kept/<int:pk>/ended/", kept_views.kept_ended, name="kept_ended"),
    # orders/
    path("orders/new/totals/", order_totals.order_totals, name="order_totals"),
    path("orders/<str:number>/", order_page.order, name="order"),
    path("orders/<str:number>/release/", order_page.order_release, name="order_release"),
    path(
        "orders/<str:number>/release/progress/",
        order_page.order_release_progress,
        name="order_release_progress",
    ),
    path("orders/<str:number>/cancel/", order_page.order_cancel, name="order_cancel"),
    path("orders/<str:number>/change/", amend_views.order_change, name="order_change"),
    path("orders/<str:number>/pin/", order_page.order_pin, name="order_pin"),
    path("orders/<str:number>/papers/", paper_views.print_ask, name="print_ask"),
    path("orders/<str:number>/papers/<int:pk>/", paper_views.print_run, name="print_run"),
    path("orders/<str:number>/papers/<int:pk>/progress/", paper_views.print_progress, name="print_progress"),
    path("orders/<str:number>/papers/<int:pk>/stop/", paper_views.print_stop, name="print_stop"),
    path("orders/<str:number>/deliveries/new/", delivery_views.delivery_new, name="delivery_new"),
    # deliveries/
    path("deliveries/", delivery_views.deliveries, name="deliveries"),
    path("deliveries/<int:pk>/", delivery_views.delivery, name="delivery"),
    path("deliveries/<int:pk>/signed-on-paper/", delivery_views.delivery_on_paper, name="delivery_on_paper"),
    path("deliveries/<int:pk>/take-back/", delivery_views.delivery_take_back, name="delivery_take_back"),
    # letterhead/
    path("letterhead/", paper_views.letterhead, name="letterhead"),
    path("letterhead/remove/", paper_views.letterhead_remove, name="letterhead_remove"),
    path("letterhead/logo.png", paper_views.letterhead_logo, name="letterhead_logo"),
    path("letterhead/sample.pdf", paper_views.letterhead_sample, name="letterhead_sample"),
]
