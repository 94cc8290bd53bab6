from django.apps import AppConfig
from django.db.models.signals import post_delete


class PortalConfig(AppConfig):
    name = "fleetcare.portal"
    label = "portal"

    def ready(self) -> None:
        # A web process that answers the bell itself needs the tasks as a worker does.
        from fleetcare.portal import tasks  # noqa: F401

        post_delete.connect(_forget_exchange_files, sender="portal.ExchangeJob")


def _forget_exchange_files(instance: object, **_: object) -> None:
    from fleetcare.portal.exchange.jobs import forget_files

    forget_files(instance)  # type: ignore[arg-type]
