"""What workers are rung for; each loads its arguments and calls one use-case."""

from uuid import UUID

from celery import shared_task

from inspections.services.lives import learn_lives
from inspections.services.photos import sweep_photo_files


@shared_task(name="inspections.sweep_photo_files")
def sweep_files() -> None:
    sweep_photo_files()


@shared_task(name="inspections.learn_lives")
def learn_fleet_lives(fleet_id: str) -> None:
    learn_lives(UUID(fleet_id))
