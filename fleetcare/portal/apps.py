from django.apps import AppConfig


class PortalConfig(AppConfig):
    name = "fleetcare.portal"
    label = "portal"
