from django.apps import AppConfig


class FleetConfig(AppConfig):
    name = "fleetcare.fleet"
    label = "fleet"
