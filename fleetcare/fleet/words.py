"""The fixed words of fleets and vehicles."""

from django.db.models import TextChoices


class Role(TextChoices):
    """What a member or key may do; each includes what the one below it may."""

    VIEWER = "viewer", "reads"
    INSPECTOR = "inspector", "inspections, odometer, fuel, jobs done"
    PLANNER = "planner", "jobs, budgets, reminders, contacts"
    OWNER = "owner", "everything"

    @property
    def rank(self) -> int:
        """Higher may more."""
        return list(Role).index(self)

    def includes(self, other: "Role") -> bool:
        """Whether this role may do what the other may."""
        return self.rank >= other.rank


class FleetKind(TextChoices):
    HOUSEHOLD = "household"
    CLUB = "club"
    WORKSHOP = "workshop"


class Doer(TextChoices):
    """Who does a job."""

    OWN = "own"
    WORKSHOP = "workshop"


class Raising(TextChoices):
    """What there is to get a vehicle off the ground and keep it there."""

    NONE = "none"
    STANDS = "stands"
    LIFT = "lift"


class DistanceUnit(TextChoices):
    KM = "km"
    MILES = "mi"


class LimitScheme(TextChoices):
    """Whose limits a measurement is held against."""

    EU = "eu"
    UK = "uk"
    US = "us"


class ReadingSource(TextChoices):
    PERSON = "person"
    INSPECTION = "inspection"
    FUEL = "fuel"
    JOB = "job"
    IMPORT = "import"


class EventKind(TextChoices):
    """What happens in a fleet and is told to who asked for it."""

    INSPECTION_COMPLETED = "inspection.completed"
    FINDING_OPENED = "finding.opened"
    FINDING_WORSENED = "finding.worsened"
    DO_NOT_DRIVE_RAISED = "do-not-drive.raised"
    DO_NOT_DRIVE_LIFTED = "do-not-drive.lifted"
    JOB_CLOSED = "job.closed"
    JOB_REOPENED = "job.reopened"
    ESTIMATE_ANSWERED = "estimate.answered"
    ITEM_DUE = "item.due"
    TEST = "test"
