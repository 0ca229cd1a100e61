"""API addresses below /api/v1/. Releasing, cancelling and printing an order are of a higher package."""

from django.urls import path, register_converter
from django.urls.converters import StringConverter

from fittings import api


class OrderNumber(StringConverter):
    """An order's number. "import" is none: it is an address of its own."""

    regex = "(?!import/)[^/]+"


register_converter(OrderNumber, "order_number")

urlpatterns = [
    path("develop/", api.develop, name="api_develop"),
    path("kinds/", api.kind_list, name="api_kinds"),
    # orders/
    path("orders/", api.order_list, name="api_orders"),
    path("orders/<order_number:number>/", api.order_detail, name="api_order"),
    path("orders/<order_number:number>/patterns.zip", api.order_patterns, name="api_order_patterns"),
    # customers/
    path("customers/", api.customer_list, name="api_customers"),
    path("customers/<int:customer_id>/", api.customer_detail, name="api_customer"),
    # tables/
    path("tables/", api.table_list, name="api_tables"),
    path("tables/<str:name>/", api.table_detail, name="api_table"),
]
