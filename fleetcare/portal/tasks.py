"""What workers are rung for; each loads its arguments and calls one use-case."""

from uuid import UUID

from celery import shared_task

from fleetcare.portal.exchange.jobs import run_exchange, sweep_exchange
from fleetcare.portal.leaving import erase_what_left


@shared_task(name="portal.run_exchange")
def run_exchange_job(fleet_id: str, job_id: str) -> None:
    run_exchange(UUID(fleet_id), UUID(job_id))


@shared_task(name="portal.sweep_exchange")
def sweep_exchange_jobs() -> None:
    sweep_exchange()


@shared_task(name="portal.erase_what_left")
def erase_fleets_and_accounts() -> None:
    erase_what_left()
