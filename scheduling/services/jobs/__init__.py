"""Jobs: opened from the backlog or by hand, planned, done or not, and taken back on the same day."""

from scheduling.services.jobs.closing import Closing, close_job
from scheduling.services.jobs.declined import DeclinedWork, declined_safety_work
from scheduling.services.jobs.lines import PartLine
from scheduling.services.jobs.marking import fleet_with_jobs, with_jobs
from scheduling.services.jobs.opening import change_job, open_job
from scheduling.services.jobs.steps import decline_job, defer_job, plan_job, reopen_job, start_job
from scheduling.services.jobs.undoing import may_undo, undo_closing

__all__ = [
    "Closing",
    "DeclinedWork",
    "PartLine",
    "change_job",
    "close_job",
    "decline_job",
    "declined_safety_work",
    "defer_job",
    "fleet_with_jobs",
    "may_undo",
    "open_job",
    "plan_job",
    "reopen_job",
    "start_job",
    "undo_closing",
    "with_jobs",
]
