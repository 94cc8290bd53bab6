from collections.abc import Mapping
from typing import Any

from django.apps import AppConfig
from django.db.models.signals import post_delete

from fleetcare.kernel.errors import Fault


class InspectionsConfig(AppConfig):
    name = "inspections"

    def ready(self) -> None:
        from fleetcare.fleet.traits import register
        from fleetcare.support import told

        # A web process that answers the bell itself needs the tasks as a worker does.
        from inspections import tasks  # noqa: F401

        register(_trait_faults)
        told.register(_catalogue_words)
        post_delete.connect(_forget_photo_files, sender="inspections.Photo")


def _forget_photo_files(instance: Any, **_: Any) -> None:
    from inspections.services.photos import forget_files

    forget_files(instance)


def _catalogue_words(language: str, english: str) -> str | None:
    """A text of the catalogue in a language; the translation is loaded when somebody reads in it."""
    from inspections.catalogue.translated import text_in

    return text_in(language, english)


def _trait_faults(traits: Mapping[str, str]) -> list[Fault]:
    """What the catalogue says of a vehicle's traits; it is loaded only when a vehicle is written."""
    from inspections.catalogue.loader import default_catalogue
    from inspections.catalogue.traits import trait_faults

    known = default_catalogue().traits
    return [Fault(f"/{fault.trait}", "trait", fault.message) for fault in trait_faults(known, traits)]
