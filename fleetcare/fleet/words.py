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
