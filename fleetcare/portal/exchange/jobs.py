"""Long work as rows: asked for, claimed under a lease, done once; what a lost bell or a crash left is found again."""

import hashlib
import logging
import uuid
from collections.abc import Callable, Iterable, Iterator
from datetime import timedelta
from typing import Any

from django.db import transaction
from django.db.models import F, Q
from django.utils import timezone

from fleetcare.fleet.access import Access
from fleetcare.fleet.words import Role
from fleetcare.kernel.errors import Conflict, DomainError
from fleetcare.portal.exchange.importing import import_table
from fleetcare.portal.exchange.kinds import kinds
from fleetcare.portal.exchange.restoring import require_empty, restore_fleet
from fleetcare.portal.exchange.writing import export_fleet
from fleetcare.portal.models import ExchangeJob
from fleetcare.portal.words import ExchangeKind, ExchangeState
from fleetcare.support import stored_files
from fleetcare.support.bell import ring_after_commit
from fleetcare.support.doing import acting
from fleetcare.support.tenancy import TenantQuerySet

log = logging.getLogger(__name__)
Json = dict[str, Any]
Pieces = bytes | Iterable[bytes]
"""A file that was sent, whole or piece by piece."""

FOLDER = "exchange"
KEPT = timedelta(days=7)
"""How long what was sent and what came out can be fetched."""
LEASE = timedelta(minutes=10)
MOST_ATTEMPTS = 3
MOST_WAITING = 5
"""Jobs of one fleet that wait or run at a time."""
_PROGRESS_STEP = 0.05
_BROKEN = {
    "code": "broke-off",
    "detail": "It broke off three times; the fault is in the log under the id of the job.",
    "errors": [],
}


def jobs_of(access: Access, kind: str) -> TenantQuerySet[ExchangeJob]:
    """Jobs of one kind, the latest first; exports and restores are for owners, imports for planners."""
    access.require(Role.PLANNER if kind == ExchangeKind.IMPORT else Role.OWNER)
    return ExchangeJob.objects.within(access.fleet).filter(kind=kind).order_by("-created_at", "-id")


def is_empty(access: Access) -> bool:
    """Whether an export may be restored into the fleet."""
    try:
        require_empty(access)
    except Conflict:
        return False
    return True


def ask_for_export(access: Access) -> ExchangeJob:
    """A complete export, ready after a while. Owners only."""
    access.require(Role.OWNER)
    return _asked(access, ExchangeKind.EXPORT, {}, None)


def ask_for_restore(access: Access, data: Pieces) -> ExchangeJob:
    """Restores an export into this fleet. Owners only. Raises Conflict where the fleet has vehicles."""
    access.require(Role.OWNER)
    require_empty(access)
    return _asked(access, ExchangeKind.RESTORE, {}, data)


def ask_for_import(access: Access, data: Pieces, *, what: str, vehicle: uuid.UUID | None = None) -> ExchangeJob:
    """Has a table checked; nothing is stored until `store_import`. Planners and owners.

    `what` is a kind of table (else KeyError); `vehicle` where the file has no column that names one.
    """
    access.require(Role.PLANNER)
    options = {"what": kinds()[what].key, "vehicle": str(vehicle) if vehicle else None}
    return _asked(access, ExchangeKind.IMPORT, options, data)


def change_import(access: Access, job: ExchangeJob, changes: Json) -> ExchangeJob:
    """Has the same file checked again, read differently. Raises Conflict while it is at work or once it is stored."""
    access.require(Role.PLANNER)
    return _again(job, {**job.options, **changes, "store": False})


def store_import(access: Access, job: ExchangeJob, *, skip_bad_rows: bool) -> ExchangeJob:
    """Stores what the last check found new. Planners and owners.

    Raises Conflict where that check is not done, left questions open, or found rows that are wrong and are not to be
    left out.
    """
    access.require(Role.PLANNER)
    result = job.result
    if job.state != ExchangeState.DONE or result.get("missing") or result.get("questions"):
        raise Conflict("Have the file checked without open questions first.", code="not-checked")
    if result["bad_rows"] and not skip_bad_rows:
        sentence = f"{result['bad_rows']} rows are wrong; correct them, or say that they are left out."
        raise Conflict(sentence, code="bad-rows")
    mapping = job.options.get("mapping") or result["mapping"]
    return _again(job, {**job.options, "mapping": mapping, "store": True, "skip_bad_rows": skip_bad_rows})


@transaction.atomic
def _again(job: ExchangeJob, options: Json) -> ExchangeJob:
    if job.result.get("stored"):
        raise Conflict("This file is stored already.", code="stored")
    idle = ExchangeJob.objects.within(job.fleet_id).filter(
        pk=job.pk, state__in=[ExchangeState.DONE, ExchangeState.FAILED], files_until__gt=timezone.now()
    )
    changed = idle.update(
        state=ExchangeState.QUEUED, options=options, problem={}, progress_fraction=0.0, attempts=0, ended_at=None
    )
    if not changed:
        raise Conflict("It is at work, or its file is gone.", code="at-work")
    ring_after_commit("portal.run_exchange", str(job.fleet_id), str(job.pk))
    job.refresh_from_db()
    return job


def _asked(access: Access, kind: ExchangeKind, options: Json, data: Pieces | None) -> ExchangeJob:
    waiting = ExchangeJob.objects.within(access.fleet).filter(state__in=[ExchangeState.QUEUED, ExchangeState.RUNNING])
    if waiting.count() >= MOST_WAITING:
        raise Conflict(f"{MOST_WAITING} jobs are at work already; wait for one of them.", code="too-many-jobs")
    digest = hashlib.sha256()
    name = "" if data is None else stored_files.keep(_folder(access), _hashed(data, digest), ".upload")
    job = ExchangeJob(
        fleet=access.fleet,
        kind=kind,
        options=options,
        upload=name,
        upload_sha256="" if data is None else digest.hexdigest(),
        asked_by=access.actor,
        role=access.role,
        files_until=timezone.now() + KEPT,
    )
    try:
        with transaction.atomic():
            job.save(force_insert=True)
            ring_after_commit("portal.run_exchange", str(access.fleet.pk), str(job.pk))
    except BaseException:
        if name and not ExchangeJob.objects.within(access.fleet).filter(pk=job.pk).exists():
            stored_files.drop(name)
        raise
    job.refresh_from_db()
    return job


def _hashed(data: Pieces, digest: Any) -> Iterator[bytes]:
    """The pieces as they pass by: an upload may be larger than the memory that one request should take."""
    for piece in [data] if isinstance(data, bytes) else data:
        digest.update(piece)
        yield piece


def _folder(access: Access) -> str:
    return f"{FOLDER}/{access.fleet.pk}"


def run_exchange(fleet_id: uuid.UUID, job_id: uuid.UUID) -> None:
    """Does a job that waits, or that a worker left behind; does nothing where another has it or it is done."""
    job = _claimed(fleet_id, job_id)
    if job is None:
        return
    access = Access(job.fleet, Role(job.role), job.asked_by)
    try:
        with acting(job.asked_by):
            result, product = _WORK[ExchangeKind(job.kind)](access, job)
    except DomainError as error:
        _end(job, ExchangeState.FAILED, problem=_problem(error))
        return
    if not _end(job, ExchangeState.DONE, result=result, product=product):
        # The lease ran out and another worker took over: its file counts, not ours.
        stored_files.drop(*filter(None, [product]))


def _claimed(fleet_id: uuid.UUID, job_id: uuid.UUID) -> ExchangeJob | None:
    now, claim = timezone.now(), uuid.uuid4()
    rows = ExchangeJob.objects.within(fleet_id).filter(pk=job_id)
    free = Q(state=ExchangeState.QUEUED) | Q(state=ExchangeState.RUNNING, claimed_until__lt=now)
    # Given up before it is claimed: a job that kills its worker must not do so for ever.
    rows.filter(free, attempts__gte=MOST_ATTEMPTS).update(
        state=ExchangeState.FAILED, problem=_BROKEN, ended_at=now, claim=None
    )
    mine = rows.filter(free, attempts__lt=MOST_ATTEMPTS).update(
        state=ExchangeState.RUNNING, claim=claim, claimed_until=now + LEASE, attempts=F("attempts") + 1
    )
    return rows.select_related("fleet").one(claim=claim) if mine else None


def _end(job: ExchangeJob, state: ExchangeState, **values: Any) -> bool:
    """Ends a job that this worker still holds; says whether it did."""
    mine = ExchangeJob.objects.within(job.fleet_id).filter(pk=job.pk, claim=job.claim, state=ExchangeState.RUNNING)
    full = 1.0 if state == ExchangeState.DONE else job.progress_fraction
    return bool(mine.update(state=state, ended_at=timezone.now(), claim=None, progress_fraction=full, **values))


def _problem(error: DomainError) -> Json:
    faults = [{"pointer": f.pointer, "code": f.code, "detail": f.detail} for f in error.faults]
    return {"code": error.code, "detail": error.detail, "errors": faults}


def _progress(job: ExchangeJob) -> Callable[[float], None]:
    """Tells how far a job is, in steps worth a write; a lease goes on with it."""

    def tell(fraction: float) -> None:
        if fraction - job.progress_fraction >= _PROGRESS_STEP:
            job.progress_fraction = fraction
            mine = ExchangeJob.objects.within(job.fleet_id).filter(pk=job.pk, claim=job.claim)
            mine.update(progress_fraction=fraction, claimed_until=timezone.now() + LEASE)

    return tell


def _export(access: Access, job: ExchangeJob) -> tuple[Json, str]:
    name = stored_files.fresh_name(_folder(access), ".zip")
    with stored_files.written(name) as path:
        result = export_fleet(access, path, timezone.now(), _progress(job))
    return {**result, "size_bytes": stored_files.path_of(name).stat().st_size}, name


def _restore(access: Access, job: ExchangeJob) -> tuple[Json, str]:
    with stored_files.path_of(job.upload).open("rb") as file:
        return restore_fleet(access, file, _progress(job)), ""


def _import(access: Access, job: ExchangeJob) -> tuple[Json, str]:
    return import_table(access, stored_files.content_of(job.upload), job.options), ""


_WORK: dict[ExchangeKind, Callable[[Access, ExchangeJob], tuple[Json, str]]] = {
    ExchangeKind.EXPORT: _export,
    ExchangeKind.RESTORE: _restore,
    ExchangeKind.IMPORT: _import,
}


def sweep_exchange() -> None:
    """Rings for jobs whose bell was lost or whose worker is gone, and lets files go whose time is over."""
    for fleet_id, job_id in waiting_exchanges():
        with transaction.atomic():
            ring_after_commit("portal.run_exchange", str(fleet_id), str(job_id))
    for job in expired_exchanges():
        stored_files.drop(*filter(None, [job.upload, job.product]))
        ExchangeJob.objects.within(job.fleet_id).filter(pk=job.pk).update(upload="", product="")


def waiting_exchanges() -> list[tuple[uuid.UUID, uuid.UUID]]:
    """Fleet and id of every job that nobody works on; for the sweep only."""
    now = timezone.now()
    late = Q(state=ExchangeState.QUEUED, created_at__lt=now - timedelta(seconds=30))
    left = Q(state=ExchangeState.RUNNING, claimed_until__lt=now)
    return list(ExchangeJob.objects.filter(late | left).values_list("fleet_id", "pk")[:100])


def expired_exchanges() -> list[ExchangeJob]:
    """Jobs whose files have been kept long enough; for the sweep only."""
    over = ExchangeJob.objects.filter(files_until__lt=timezone.now()).exclude(upload="", product="")
    return list(over[:100])


def forget_files(job: ExchangeJob) -> None:
    """The files of a job whose row goes, with its fleet for one, go once that is stored."""
    stored_files.drop_after_commit(*filter(None, [job.upload, job.product]))
