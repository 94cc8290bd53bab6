"""Addresses under /api/v1/ of this feature."""

from django.urls import path

from scheduling.api import backlog, plans

urlpatterns = [
    path("fleets/<uuid:fleet_id>/backlog/", backlog.FleetBacklog.as_view()),
    path("fleets/<uuid:fleet_id>/plans/", plans.Plans.as_view()),
    path("fleets/<uuid:fleet_id>/vehicles/<uuid:vehicle_id>/backlog/", backlog.VehicleBacklog.as_view()),
]
