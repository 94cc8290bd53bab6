"""The fixed words of inspections."""

from django.db.models import TextChoices


class InspectionState(TextChoices):
    DRAFT = "draft"
    COMPLETED = "completed"


class PhotoOf(TextChoices):
    """What a photo shows."""

    RESULT = "result", "what a check found"
    JOB_BEFORE = "job-before", "before a job"
    JOB_AFTER = "job-after", "after a job"
    VEHICLE = "vehicle", "the vehicle as a whole"


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


class FactorLesson(TextChoices):
    """What a fleet's history says of one model among its vehicles."""

    LEARNED = "learned", "learned from this fleet"
    TOO_FEW_FAILURES = "too-few-failures", "too few failures to learn from"
    NO_DIFFERENCE = "no-difference", "no clear difference from the fleet's other vehicles"
    NOTHING_TO_COMPARE = "nothing-to-compare", "all vehicles with a history are of this model: see the lives themselves"
    IMPLAUSIBLE = "implausible", "so far from the other vehicles that renewals are probably missing from the record"
