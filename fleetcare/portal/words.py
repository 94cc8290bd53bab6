"""The fixed words of what joins features."""

from django.db.models import TextChoices


class LinkKind(TextChoices):
    """What a private link opens."""

    REPORT = "report", "the condition report of a vehicle"


class ExchangeKind(TextChoices):
    """What a job of the exchange does."""

    EXPORT = "export", "writes the whole fleet into one file"
    RESTORE = "restore", "restores such a file into an empty fleet"
    IMPORT = "import", "checks a table, or stores what it says"


class ExchangeState(TextChoices):
    """How far a job has come."""

    QUEUED = "queued"
    RUNNING = "running"
    DONE = "done"
    FAILED = "failed"
