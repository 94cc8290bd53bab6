"""Who keeps vehicles, who may do what, and the vehicles themselves."""

from fleetcare.fleet.models.accounts import User
from fleetcare.fleet.models.audit import AuditEntry
from fleetcare.fleet.models.events import Event
from fleetcare.fleet.models.fleets import ApiKey, Contact, ContactVehicle, Fleet, Membership
from fleetcare.fleet.models.fuel import FuelFill
from fleetcare.fleet.models.invitations import Invitation
from fleetcare.fleet.models.kept_answers import KeptAnswer
from fleetcare.fleet.models.leaving import AccountLeaving, FleetLeaving
from fleetcare.fleet.models.prices import JobExperience, JobPrice, WorkTerms
from fleetcare.fleet.models.vehicles import OdometerReading, Standing, Vehicle

__all__ = [
    "AccountLeaving",
    "ApiKey",
    "AuditEntry",
    "Contact",
    "ContactVehicle",
    "Event",
    "Fleet",
    "FleetLeaving",
    "FuelFill",
    "Invitation",
    "JobExperience",
    "JobPrice",
    "KeptAnswer",
    "Membership",
    "OdometerReading",
    "Standing",
    "User",
    "Vehicle",
    "WorkTerms",
]
