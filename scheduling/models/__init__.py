"""What the decider made of vehicles, what is due, and what is done about it."""

from scheduling.models.backlog import StoredBacklog
from scheduling.models.calendar import CalendarLink
from scheduling.models.changes import BacklogChanges
from scheduling.models.due import DueItem, ServiceDone, ServiceRule
from scheduling.models.estimates import Estimate, EstimateLine, EstimateOption
from scheduling.models.jobs import Job, JobPart
from scheduling.models.know_how import KnowHow
from scheduling.models.plans import StoredPlan
from scheduling.models.reminders import Delivery, Letter, ReminderChoice, UnwantedVehicle
from scheduling.models.webhooks import WebhookDelivery, WebhookEndpoint

__all__ = [
    "BacklogChanges",
    "CalendarLink",
    "Delivery",
    "DueItem",
    "Estimate",
    "EstimateLine",
    "EstimateOption",
    "Job",
    "JobPart",
    "KnowHow",
    "Letter",
    "ReminderChoice",
    "ServiceDone",
    "ServiceRule",
    "StoredBacklog",
    "StoredPlan",
    "UnwantedVehicle",
    "WebhookDelivery",
    "WebhookEndpoint",
]
