"""Pages of the office. An order’s own page, /orders/<number>/, is of a higher package: it shows progress."""

from django.urls import path

from fittings.views import customers, entry, intake, orders, pattern_desk, stock, tables

urlpatterns = [
    # orders/
    path("orders/", orders.orders, name="orders"),
    path("orders/new/", orders.order_new, name="order_new"),
    path("orders/new/preview/", orders.order_preview, name="order_preview"),
    path("orders/import/", intake.orders_import, name="orders_import"),
    path("orders/import/template.<str:form>", intake.import_template, name="import_template"),
    path("orders/import/<int:pk>/", intake.intake, name="intake"),
    path("orders/import/<int:pk>/columns/", intake.intake_columns, name="intake_columns"),
    path("orders/import/<int:pk>/drop/", intake.intake_drop, name="intake_drop"),
    path("orders/<str:number>/lines.<str:form>", intake.order_lines_file, name="order_lines_file"),
    path("orders/new/pasted/", entry.order_pasted, name="order_pasted"),
    path("orders/new/typed/", entry.order_typed, name="order_typed"),
    path("orders/new/typed/drop/", entry.order_typed_drop, name="order_typed_drop"),
    path("orders/new/favourites/", entry.order_favourites, name="order_favourites"),
    path("orders/new/favourites/keep/", entry.order_favourite_keep, name="order_favourite_keep"),
    path("orders/<str:number>/edit/", orders.order_edit, name="order_edit"),
    path("orders/<str:number>/lines/<int:position>/", orders.order_line, name="order_line"),
    # pattern-desk/
    path("pattern-desk/", pattern_desk.pattern_desk, name="pattern_desk"),
    path("pattern-desk/drawing/", pattern_desk.pattern_desk_drawing, name="pattern_desk_drawing"),
    path("pattern-desk/patterns.<str:form>", pattern_desk.pattern_desk_file, name="pattern_desk_file"),
    # favourites/
    path("favourites/", entry.favourites, name="favourites"),
    path("favourites/<int:pk>/remove/", entry.favourite_drop, name="favourite_drop"),
    # customers/
    path("customers/", customers.customer_list, name="customers"),
    path("customers/new/", customers.customer_new, name="customer_new"),
    path("customers/<int:pk>/", customers.customer_edit, name="customer_edit"),
    path("customers/<int:pk>/merge/", customers.customer_merge, name="customer_merge"),
    # stock/
    path("stock/", stock.stock, name="stock"),
    path("stock/new/", stock.stock_new, name="stock_new"),
    path("stock/usual/", stock.stock_usual, name="stock_usual"),
    path("stock/<int:pk>/", stock.stock_edit, name="stock_edit"),
    path("stock/<int:pk>/count/", stock.stock_count, name="stock_count"),
    path("stock/<int:pk>/retire/", stock.stock_retire, name="stock_retire"),
    path("stock/<int:pk>/bring-back/", stock.stock_bring_back, name="stock_bring_back"),
    # tables/
    path("tables/", tables.table_list, name="tables"),
    path("tables/<str:name>/", tables.table, name="table"),
    path("tables/<str:name>/<int:number>/", tables.table_version, name="table_version"),
    path("tables/<str:name>/<int:number>/bring-back/", tables.table_bring_back, name="table_bring_back"),
]
