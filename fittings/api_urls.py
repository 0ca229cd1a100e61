"""API addresses below /api/v1/. Releasing, cancelling and printing an order are of a higher package."""

from django.urls import path, register_converter
from django.urls.converters import StringConverter

from fittings import api, api_customers, api_entry, api_intake, api_nest, api_stock


class OrderNumber(StringConverter):
    """An order's number. "import" is none: it is an address of its own."""

    regex = "(?!import/)[^/]+"


register_converter(OrderNumber, "order_number")

urlpatterns = [
    path("develop/", api.develop, name="api_develop"),
    path("kinds/", api.kind_list, name="api_kinds"),
    # orders/
    path("orders/", api.order_list, name="api_orders"),
    path("orders/import/", api_intake.orders_import, name="api_orders_import"),
    path("orders/import/template.<str:form>", api_intake.import_template, name="api_import_template"),
    path(
        "orders/<order_number:number>/lines.<str:form>", api_intake.order_lines_file, name="api_order_lines"
    ),
    path("orders/<order_number:number>/", api.order_detail, name="api_order"),
    path("orders/<order_number:number>/patterns.zip", api.order_patterns, name="api_order_patterns"),
    path("orders/<order_number:number>/copy/", api_entry.order_copied, name="api_order_copy"),
    # favourites/
    path("favourites/", api_entry.favourite_list, name="api_favourites"),
    path("favourites/<int:favourite_id>/", api_entry.favourite_detail, name="api_favourite"),
    # customers/
    path("customers/", api.customer_list, name="api_customers"),
    path("customers/<int:customer_id>/", api.customer_detail, name="api_customer"),
    path("customers/<int:customer_id>/merge/", api_customers.customer_merge, name="api_customer_merge"),
    # nest/
    path("nest/", api_nest.nest_parts, name="api_nest"),
    # stock/
    path("stock/", api_stock.stock_list, name="api_stock"),
    path("stock/<int:item_id>/", api_stock.stock_detail, name="api_stock_item"),
    # tables/
    path("tables/", api.table_list, name="api_tables"),
    path("tables/<str:name>/", api.table_detail, name="api_table"),
]
