"""Photos: taken in, made harmless, kept beside the database, shown only through their fleet."""

import hashlib
import time
import uuid
from collections.abc import Callable
from typing import Any, Protocol

from django.db import IntegrityError, transaction
from django.db.models import Q

from fleetcare.fleet.access import Access
from fleetcare.fleet.models import Vehicle
from fleetcare.fleet.words import Role
from fleetcare.kernel.errors import InvalidInput
from fleetcare.support import stored_files
from inspections.catalogue.loader import default_catalogue
from inspections.models import Inspection, Photo
from inspections.services.pictures import MOST_BYTES, Prepared, Refused, prepared
from inspections.words import InspectionState, PhotoOf

FOLDER = "photos"
MOST_A_PLACE = 20
"""Photos of one check at one position in one inspection, or of one job's before or after."""
LONGEST_NOTE = 500
_LEFT_ALONE_SECONDS = 24 * 3600
"""A file younger than this may belong to a write that is not stored yet."""
_REFUSALS = {
    "too-large": f"A photo may have at most {MOST_BYTES // 1024**2} MB.",
    "not-a-picture": "This is no JPEG, PNG, WebP or HEIC picture.",
    "truncated": "The picture is damaged or was cut off on the way; send it again.",
    "several-frames": "Moving pictures are not taken; send a single one.",
    "too-many-pixels": "A photo may have at most 40 million pixels.",
    "too-costly": "The picture takes too much time or memory to open.",
    "empty": "The file is empty.",
}


class Upload(Protocol):
    """A file as it arrives; its name is neither used nor kept."""

    size: int | None

    def read(self, size: int = -1, /) -> bytes: ...


def store_photo(
    access: Access,
    vehicle: Vehicle,
    *,
    upload: Upload,
    inspection: Inspection | None = None,
    check_key: str = "",
    position: str = "",
    subject_kind: str = PhotoOf.RESULT,
    subject_id: uuid.UUID | None = None,
    note: str = "",
    pointer: str = "/photo",
) -> tuple[Photo, bool]:
    """Keeps a photo, and says whether it is new: the same file sent again to the same place is the same row.

    Of a result: give `inspection`, `check_key` and `position`. Of a job: `subject_id`. Raises InvalidInput for a file
    that is no picture we take, a place that the catalogue does not have, or more than MOST_A_PLACE photos of it.
    Decodes before the transaction: a slow picture must not hold the database.
    """
    access.require(Role.INSPECTOR)
    place: dict[str, Any] = {
        "inspection": inspection,
        "check_key": check_key,
        "position": position,
        "subject_kind": PhotoOf(subject_kind),
        "subject_id": subject_id,
    }
    _refuse_odd_place(**place)
    _refuse_foreign_job(vehicle, subject_id)
    data = _content(upload, pointer)
    fingerprint = _fingerprint(place, data)
    mine = Photo.objects.within(access.fleet).filter(vehicle=vehicle)
    stored = mine.filter(fingerprint=fingerprint).first()
    if stored is not None:
        return stored, False
    if mine.filter(**place).count() >= MOST_A_PLACE:
        raise InvalidInput.at(pointer, "too-many", f"At most {MOST_A_PLACE} photos of one place; delete one first.")
    photo = Photo(
        fleet=access.fleet,
        vehicle=vehicle,
        fingerprint=fingerprint,
        note=note.strip()[:LONGEST_NOTE],
        entered_by=access.actor,
        **place,
    )
    return _kept(photo, _redrawn(data, pointer))


JobOf = Callable[[Vehicle, uuid.UUID], bool]
_jobs: list[JobOf] = []


def ask_about_jobs(knows: JobOf) -> None:
    """Whoever keeps jobs says here how to ask whether one is of a vehicle; called once, when the app is loaded."""
    _jobs[:] = [knows]


def _refuse_foreign_job(vehicle: Vehicle, job_id: uuid.UUID | None) -> None:
    if job_id is not None and not any(knows(vehicle, job_id) for knows in _jobs):
        raise InvalidInput.at("/job", "unknown-job", "This vehicle has no such job.")


def _content(upload: Upload, pointer: str) -> bytes:
    """The bytes of an upload; one that is too large is refused before it is read, or as soon as it shows."""
    size = getattr(upload, "size", None)
    if size is not None and size > MOST_BYTES:
        raise _refusal(pointer, "too-large")
    data = upload.read(MOST_BYTES + 1)
    if len(data) > MOST_BYTES:
        raise _refusal(pointer, "too-large")
    if not data:
        raise _refusal(pointer, "empty")
    return data


def _redrawn(data: bytes, pointer: str) -> Prepared:
    try:
        return prepared(data)
    except Refused as error:
        raise _refusal(pointer, error.code) from error


def _refusal(pointer: str, code: str) -> InvalidInput:
    return InvalidInput.at(pointer, code, _REFUSALS[code])


def _refuse_odd_place(
    inspection: Inspection | None, check_key: str, position: str, subject_kind: PhotoOf, subject_id: uuid.UUID | None
) -> None:
    of_job = subject_kind in {PhotoOf.JOB_BEFORE, PhotoOf.JOB_AFTER}
    if of_job != (subject_id is not None):
        raise InvalidInput.at("/subject_id", "subject", "A photo before or after a job names the job, no other does.")
    if subject_kind != PhotoOf.RESULT:
        if inspection is not None or check_key or position:
            raise InvalidInput.at("/check", "subject", "Only a photo of a result names a check.")
        return
    if inspection is None:
        raise InvalidInput.at("/inspection", "required", "A photo of a result belongs to an inspection.")
    entry = default_catalogue().checks.get(check_key)
    if entry is None:
        raise InvalidInput.at("/check", "unknown-check", f"The catalogue has no check {check_key or '(empty)'}.")
    if position not in (entry.part.positions or ("",)):
        choices = ", ".join(entry.part.positions) or "none: leave it out"
        raise InvalidInput.at("/position", "unknown-position", f"{entry.part.title} has these positions: {choices}.")


def _fingerprint(place: dict[str, Any], data: bytes) -> str:
    where = [place["inspection"].pk if place["inspection"] else "", *(place[name] or "" for name in list(place)[1:])]
    text = "\0".join(str(part) for part in where)
    return hashlib.sha256(text.encode() + b"\0" + hashlib.sha256(data).digest()).hexdigest()


def _kept(photo: Photo, found: Prepared) -> tuple[Photo, bool]:
    """Files first, then the row: a row never names a file that is not there."""
    folder = f"{FOLDER}/{photo.fleet_id}"
    photo.width_px, photo.height_px, photo.taken_on = found.width_px, found.height_px, found.taken_on
    photo.size_bytes, photo.sha256 = len(found.picture), hashlib.sha256(found.picture).hexdigest()
    names: list[str] = []
    try:
        names.append(stored_files.keep(folder, found.picture, ".jpg"))
        names.append(stored_files.keep(folder, found.thumbnail, ".small.jpg"))
        photo.picture, photo.thumbnail = names
        with transaction.atomic():
            photo.save(force_insert=True)
    except IntegrityError:
        # The same photo was sent twice at once, and the other request was faster.
        stored_files.drop(*names)
        twin = Photo.objects.within(photo.fleet_id).filter(vehicle=photo.vehicle_id)
        return twin.one(fingerprint=photo.fingerprint), False
    except BaseException:
        stored_files.drop(*names)
        raise
    return photo, True


@transaction.atomic
def delete_photo(access: Access, photo: Photo) -> None:
    """Takes a photo away with its files. Inspectors while its inspection is a draft; afterwards planners and owners."""
    draft = photo.inspection is not None and photo.inspection.state == InspectionState.DRAFT
    access.require(Role.INSPECTOR if draft else Role.PLANNER)
    photo.delete()


def forget_files(photo: Photo) -> None:
    """The files of a photo whose row goes, alone or with its vehicle or fleet, go once that is stored."""
    stored_files.drop_after_commit(photo.picture, photo.thumbnail)


def sweep_photo_files() -> int:
    """Deletes files that no photo names: what a crash or a rollback left. Returns how many."""
    return stored_files.sweep(FOLDER, named_files, time.time() - _LEFT_ALONE_SECONDS)


def named_files(names: set[str]) -> set[str]:
    """Those of the names that a photo of any fleet refers to; for the sweep, which belongs to no fleet."""
    rows = Photo.objects.filter(Q(picture__in=names) | Q(thumbnail__in=names))
    return {name for pair in rows.values_list("picture", "thumbnail") for name in pair}
