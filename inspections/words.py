"""The fixed words of inspections."""

from django.db.models import TextChoices


class InspectionState(TextChoices):
    DRAFT = "draft"
    COMPLETED = "completed"


class ChangeKind(TextChoices):
    OPENED = "opened"
    WORSENED = "worsened"
    IMPROVED = "improved"
    CONFIRMED = "confirmed"
    CLOSED = "closed"
    DEFERRED = "deferred"
    DISMISSED = "dismissed"


class Removal(TextChoices):
    """Why a part came off: what lives are learned from."""

    FAILED = "failed"
    WORN_OUT = "worn-out"
    RENEWED_EARLY = "renewed-early"
    UNKNOWN = "unknown"


class Lesson(TextChoices):
    """What a fleet's history adds to the catalogue for one kind of part."""

    LEARNED = "learned", "learned from this fleet"
    TOO_FEW_FAILURES = "too-few-failures", "too few failures to learn from"
    IMPLAUSIBLE = "implausible", "so far from the catalogue that renewals are probably missing from the record"
