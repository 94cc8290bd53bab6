"""Know-how: what the fleet's people learned about a model of vehicle, and the maker's figures they looked up."""

from collections.abc import Iterable
from decimal import Decimal
from typing import Any

from django.db import transaction

from fleetcare.fleet.access import Access
from fleetcare.fleet.models import Vehicle
from fleetcare.fleet.words import Role
from fleetcare.kernel.errors import Fault, InvalidInput, raise_if_any
from fleetcare.support.versions import store
from inspections.catalogue.loader import default_catalogue
from scheduling.models import KnowHow
from scheduling.services.jobs.people import actor_name
from scheduling.words import NoteKind

TORQUE_UNITS = ("N·m", "lb·ft")
MOST_TORQUE = Decimal(2_000)
"""No fastening of a car or light van takes more, in either unit; common practice, no source."""
MOST_HOURS = Decimal(200)
_ABOUT = ("part_key", "job_key", "check_key")


def model_key_of(vehicle: Vehicle) -> str:
    """Make and model as vehicles are matched by; empty where either is not said."""
    make, model = vehicle.make.strip(), vehicle.model.strip()
    return f"{make}|{model}".casefold() if make and model else ""


@transaction.atomic
def add_know_how(access: Access, vehicle: Vehicle, **values: Any) -> KnowHow:
    """A note for every vehicle of the fleet that is of this make and model. Inspectors and above.

    A tightening figure is the maker's: it takes value, unit and source. Raises InvalidInput for a vehicle without
    make or model, and for a note that is about nothing in the catalogue or lacks what its kind takes.
    """
    access.require(Role.INSPECTOR)
    key = model_key_of(vehicle)
    if not key:
        sentence = "Know-how is shared by make and model: say both of the vehicle first."
        raise InvalidInput.at("", "no-model", sentence)
    note = KnowHow(
        fleet=access.fleet,
        make=vehicle.make.strip(),
        model=vehicle.model.strip(),
        model_key=key,
        author=actor_name(access),
        entered_by=access.actor,
        **values,
    )
    raise_if_any(_faults(note))
    note.save(force_insert=True)
    return note


@transaction.atomic
def change_know_how(access: Access, note: KnowHow, **values: Any) -> KnowHow:
    """Changes a note; inspectors and above. Raises InvalidInput as for a new one."""
    access.require(Role.INSPECTOR)
    for name, value in values.items():
        setattr(note, name, value)
    raise_if_any(_faults(note))
    store(note, values)
    return note


@transaction.atomic
def drop_know_how(access: Access, note: KnowHow) -> None:
    """Takes a note away. Planners and owners, and whoever wrote it."""
    if note.entered_by != access.actor:
        access.require(Role.PLANNER)
    access.require(Role.INSPECTOR)
    note.delete()


def _faults(note: KnowHow) -> list[Fault]:
    return [*_about_faults(note), *_figure_faults(note)]


def _about_faults(note: KnowHow) -> Iterable[Fault]:
    catalogue = default_catalogue()
    shelves = {"part_key": catalogue.parts, "job_key": catalogue.jobs, "check_key": catalogue.checks}
    if not any(getattr(note, name) for name in _ABOUT):
        yield Fault("/part", "required", "Say which part, job or check of the catalogue it is about.")
    for name, shelf in shelves.items():
        key, word = getattr(note, name), name.removesuffix("_key")
        if key and key not in shelf:
            yield Fault(f"/{word}", f"unknown-{word}", f"The catalogue has no {word} {key}.")


def _figure_faults(note: KnowHow) -> Iterable[Fault]:
    if note.kind == NoteKind.TORQUE:
        if note.value is None:
            yield Fault("/value", "required", "Give the maker's figure.")
        elif not 0 < note.value <= MOST_TORQUE:
            yield Fault("/value", "range", f"More than 0 and at most {MOST_TORQUE:,}.")
        if note.unit not in TORQUE_UNITS:
            yield Fault("/unit", "unit", f"One of {', '.join(TORQUE_UNITS)}.")
        if not note.source.strip():
            yield Fault("/source", "required", "Say which data of the maker it is from.")
    elif note.kind == NoteKind.TIME:
        if note.value is None or not 0 < note.value <= MOST_HOURS:
            yield Fault("/value", "range", f"Hours: more than 0 and at most {MOST_HOURS}.")
        if note.unit != "h":
            yield Fault("/unit", "unit", "Time is told in hours: h.")
    elif note.value is not None and not note.unit:
        yield Fault("/unit", "required", "A figure needs its unit.")
