from django.apps import AppConfig

from fleetcare.support.sqlite import allow_full_batches


class FleetConfig(AppConfig):
    name = "fleetcare.fleet"
    label = "fleet"

    def ready(self) -> None:
        allow_full_batches()
