"""Addresses of the pages."""

from django.contrib.auth.views import LoginView, LogoutView
from django.urls import path

from fleetcare.portal.web import pages

_sign_in = LoginView.as_view(template_name="portal/sign_in.html", redirect_authenticated_user=True)

urlpatterns = [
    path("", pages.home, name="home"),
    path("sign-in/", _sign_in, name="sign-in"),
    path("sign-out/", LogoutView.as_view(), name="sign-out"),
    path("fleets/<uuid:fleet_id>/", pages.fleet, name="fleet"),
    path("fleets/<uuid:fleet_id>/vehicles/<uuid:vehicle_id>/", pages.vehicle, name="vehicle"),
    path(
        "fleets/<uuid:fleet_id>/vehicles/<uuid:vehicle_id>/inspections/<uuid:inspection_id>/",
        pages.inspection,
        name="inspection",
    ),
]
