from django.apps import AppConfig
from django.db.backends.signals import connection_created
from django.db.models.signals import post_migrate, pre_migrate

from fleetcare.support.record_triggers import register
from fleetcare.support.sqlite import allow_full_batches


class FleetConfig(AppConfig):
    name = "fleetcare.fleet"
    label = "fleet"

    def ready(self) -> None:
        from fleetcare.fleet.services.account_events import listen
        from fleetcare.fleet.services.auditing import begin_recording, pause_recording

        allow_full_batches()
        connection_created.connect(register, dispatch_uid="recorded")
        pre_migrate.connect(pause_recording, sender=self, dispatch_uid="recorded")
        post_migrate.connect(begin_recording, sender=self, dispatch_uid="recorded")
        listen()
