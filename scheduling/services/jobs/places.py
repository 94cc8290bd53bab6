"""Where on a vehicle a job is done: what a person says, completed by what the job covers."""

from collections.abc import Sequence

from fleetcare.fleet.models import Vehicle
from fleetcare.kernel.errors import Fault, InvalidInput
from inspections.catalogue.books import positions_covered
from inspections.catalogue.catalogue import PartJob
from inspections.catalogue.loader import default_catalogue


def catalogue_job(job_key: str, pointer: str = "/job") -> PartJob:
    """A job of the catalogue; raises InvalidInput for an unknown key."""
    entry = default_catalogue().jobs.get(job_key)
    if entry is None:
        raise InvalidInput.at(pointer, "unknown-job", f"The catalogue has no job {job_key}.")
    return entry


def places_of(vehicle: Vehicle, entry: PartJob, said: Sequence[str], pointer: str = "/positions") -> list[str]:
    """Every position that the job covers on this vehicle, in catalogue order; empty where the part has one place.

    A job of one position takes one; a job of an axle covers both its sides, one of the vehicle all, whichever is
    named. Raises InvalidInput for a position the part or the vehicle does not have, and for more than one job can do.
    """
    part = entry.part
    here = _of_vehicle(vehicle, entry)
    if not here:
        raise InvalidInput.at("/job", "not-applicable", f"{part.title}: this vehicle has no such part.")
    if not part.positions:
        if said:
            raise InvalidInput.at(f"{pointer}/0", "unknown-position", f"{part.title} has one place: leave it out.")
        return []
    faults = [fault for index, position in enumerate(said) for fault in _faults(entry, here, position, index, pointer)]
    if faults:
        raise InvalidInput.of(faults)
    if not said and entry.job.scope != "vehicle":
        choices = ", ".join(here)
        raise InvalidInput.at(pointer, "required", f"Say where: {choices}.")
    covered = positions_covered(entry, said[0]) if said else part.positions
    if not set(said) <= set(covered):
        sentence = "One job does not cover these positions together: open one for each."
        raise InvalidInput.at(pointer, "several-jobs", sentence)
    return [position for position in here if position in covered]


def _of_vehicle(vehicle: Vehicle, entry: PartJob) -> list[str]:
    catalogue = default_catalogue()
    slots = (catalogue.slots[row] for row in catalogue.applicable_slots(vehicle.traits))
    return [slot.position for slot in slots if slot.part_key == entry.part.key]


def _faults(entry: PartJob, here: Sequence[str], position: str, index: int, pointer: str) -> list[Fault]:
    title = entry.part.title
    if position not in entry.part.positions:
        choices = ", ".join(entry.part.positions)
        return [Fault(f"{pointer}/{index}", "unknown-position", f"{title} has these positions: {choices}.")]
    if position not in here:
        return [Fault(f"{pointer}/{index}", "not-applicable", f"{title}: this vehicle has no such part there.")]
    return []


def covers_all(vehicle: Vehicle, entry: PartJob, positions: Sequence[str]) -> bool:
    """Whether a job at these positions leaves no other of its part on the vehicle untouched."""
    return {position for position in _of_vehicle(vehicle, entry) if position} <= set(positions)


def place_text(positions: Sequence[str]) -> str:
    """The positions as the text that makes two jobs the same."""
    return ",".join(positions)


def slots_of(positions: Sequence[str]) -> list[str]:
    """The positions as fitted parts and findings name them: a part with one place has the empty one."""
    return list(positions) or [""]
