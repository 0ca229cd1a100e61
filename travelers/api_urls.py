"""API addresses of this package, below /api/v1/."""

from django.urls import path

from travelers import api

urlpatterns = [
    # orders/<number>/
    path("orders/<str:number>/release/", api.order_release, name="api_order_release"),
    path("orders/<str:number>/cancel/", api.order_cancel, name="api_order_cancel"),
    path("orders/<str:number>/travelers.pdf", api.travelers_pdf, name="api_travelers_pdf"),
    path("orders/<str:number>/labels.pdf", api.labels_pdf, name="api_labels_pdf"),
    path("orders/<str:number>/packing-list.pdf", api.packing_list_pdf, name="api_packing_list_pdf"),
    # fittings/
    path("fittings/", api.fitting_list, name="api_fittings"),
    path("fittings/<str:code>/", api.fitting_detail, name="api_fitting"),
    path("where/", api.where, name="api_where"),
]
