"""The map of addresses: each package's own, and the API's schema."""

from django.contrib import admin
from django.urls import include, path
from drf_spectacular.views import SpectacularAPIView, SpectacularSwaggerSplitView

from shared import views as shared_views

urlpatterns = [
    # api first: the tablets ask it most
    path("api/v1/", include("shopfloor.api.urls")),
    path("api/v1/", include("fittings.api_urls")),
    path("api/v1/", include("travelers.api_urls")),
    # pages
    path("", include("fittings.urls")),
    path("", include("travelers.urls")),
    path("", include("shopfloor.pages")),
    path("patterns/", shared_views.patterns, name="patterns"),
    path("admin/", admin.site.urls),
    path("api/schema/", SpectacularAPIView.as_view(), name="schema"),
    path(
        "api/docs/",
        SpectacularSwaggerSplitView.as_view(url_name="schema", template_name="shared/api_docs.html"),
        name="docs",
    ),
]

handler400 = shared_views.bad_request
handler404 = shared_views.page_not_found
handler500 = shared_views.server_error
