"""Every address: the API, the pages, the last resorts."""

from django.urls import URLPattern, URLResolver, include, path, re_path
from drf_spectacular.views import SpectacularSwaggerView

from fleetcare.portal.api.description import DescriptionView
from fleetcare.portal.web import health
from fleetcare.portal.web.metrics import metrics
from fleetcare.support.problems import not_found

api: list[URLPattern | URLResolver] = [
    path("schema/", DescriptionView.as_view(), name="schema"),
    path("", include("fleetcare.fleet.urls")),
    path("", include("inspections.urls")),
    path("", include("scheduling.urls")),
    path("", include("fleetcare.portal.api_urls")),
]

urlpatterns = [
    path("api/v1/", include(api)),
    path(
        "api/docs/",
        SpectacularSwaggerView.as_view(url_name="schema", authentication_classes=[], permission_classes=[]),
        name="api-docs",
    ),
    re_path("^api/", not_found),
    path("livez", health.livez),
    path("readyz", health.readyz),
    path("metrics", metrics),
    path("", include("fleetcare.portal.urls")),
]

handler404 = "fleetcare.portal.web.errors.not_found"
handler500 = "fleetcare.portal.web.errors.server_error"
