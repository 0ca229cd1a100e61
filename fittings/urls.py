"""Pages of the office. An order’s own page, /orders/<number>/, is of a higher package: it shows progress."""

from django.urls import path

from fittings.views import customers, orders, pattern_desk, tables

urlpatterns = [
    # orders/
    path("orders/", orders.orders, name="orders"),
    path("orders/new/", orders.order_new, name="order_new"),
    path("orders/new/preview/", orders.order_preview, name="order_preview"),
    path("orders/<str:number>/edit/", orders.order_edit, name="order_edit"),
    path("orders/<str:number>/lines/<int:position>/", orders.order_line, name="order_line"),
    # pattern-desk/
    path("pattern-desk/", pattern_desk.pattern_desk, name="pattern_desk"),
    path("pattern-desk/drawing/", pattern_desk.pattern_desk_drawing, name="pattern_desk_drawing"),
    path("pattern-desk/patterns.<str:form>", pattern_desk.pattern_desk_file, name="pattern_desk_file"),
    # customers/
    path("customers/", customers.customer_list, name="customers"),
    path("customers/new/", customers.customer_new, name="customer_new"),
    path("customers/<int:pk>/", customers.customer_edit, name="customer_edit"),
    # tables/
    path("tables/", tables.table_list, name="tables"),
    path("tables/<str:name>/", tables.table, name="table"),
    path("tables/<str:name>/<int:number>/", tables.table_version, name="table_version"),
    path("tables/<str:name>/<int:number>/bring-back/", tables.table_bring_back, name="table_bring_back"),
]
