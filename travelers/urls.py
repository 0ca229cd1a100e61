"""Pages."""

from django.urls import path

from travelers import operations, order_page

urlpatterns = [
    # operations/
    path("operations/", operations.operations, name="operations"),
    path("operations/<str:code>/", operations.operation_edit, name="operation_edit"),
    # orders/
    path("orders/<str:number>/", order_page.order, name="order"),
    path("orders/<str:number>/release/", order_page.order_release, name="order_release"),
    path("orders/<str:number>/cancel/", order_page.order_cancel, name="order_cancel"),
]
