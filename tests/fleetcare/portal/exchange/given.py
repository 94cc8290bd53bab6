"""What tests of the exchange start from."""

import uuid
from typing import Any

from fleetcare.fleet.access import Access
from fleetcare.portal.exchange import jobs
from fleetcare.portal.models import ExchangeJob
from fleetcare.portal.words import ExchangeKind

TABLE = b"vehicle,date,km\nHome car,2024-10-03,120500\nnobody's,2024-10-03,120500\n"


def done(job: ExchangeJob) -> ExchangeJob:
    """The job after a worker had it."""
    jobs.run_exchange(job.fleet_id, job.pk)
    job.refresh_from_db()
    return job


def exchange_ids(access: Access) -> dict[str, uuid.UUID]:
    """Ids of an export that is done, an import that was checked, and a restore that was refused."""
    restore = ExchangeJob.objects.create(
        fleet=access.fleet, kind=ExchangeKind.RESTORE, asked_by=access.actor, role=access.role, **files()
    )
    return {
        "export_id": done(jobs.ask_for_export(access)).pk,
        "import_id": done(jobs.ask_for_import(access, TABLE, what="odometer")).pk,
        "restore_id": restore.pk,
    }


def files() -> dict[str, Any]:
    """Columns of a job that has no files."""
    from django.utils import timezone

    return {"files_until": timezone.now() + jobs.KEPT}
