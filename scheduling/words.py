"""The fixed words of what is due and what is done about it."""

from django.db.models import IntegerChoices, TextChoices


class DueKind(TextChoices):
    """What makes something due."""

    SERVICE = "service"
    LOOK_AGAIN = "look-again"
    WEAR_LIMIT = "wear-limit"
    FOLLOW_UP = "follow-up"
    STATUTORY = "statutory"
    INSURANCE = "insurance"
    TAX = "tax"
    WARRANTY = "warranty"
    DOCUMENT = "document"
    DEFERRED_JOB = "deferred-job"


class RuleKind(TextChoices):
    """What a service rule is about; each is a kind of due item too."""

    SERVICE = "service"
    STATUTORY = "statutory"
    INSURANCE = "insurance"
    TAX = "tax"
    WARRANTY = "warranty"
    DOCUMENT = "document"


class Closed(TextChoices):
    """Why a due item is no longer open."""

    DONE = "done"
    WITHDRAWN = "withdrawn"


class QueueState(TextChoices):
    """How far something that is to be sent has come."""

    WAITING = "waiting", "to be sent, or to be tried again"
    SENT = "sent", "handed over"
    BOUNCED = "bounced", "refused for good by the other side"
    GIVEN_UP = "given-up", "not taken for days"
    PARKED = "parked", "three attempts ended without any outcome; somebody should look"
    WITHDRAWN = "withdrawn", "nothing was left to say"


class Rhythm(TextChoices):
    """How often ordinary reminders are gathered into one mail."""

    DAILY = "daily"
    WEEKLY = "weekly"
    MONTHLY = "monthly"
    NEVER = "never"


class LetterKind(TextChoices):
    """What a mail is about; each can be stopped by itself."""

    DIGEST = "digest", "what is due, gathered"
    SAFETY = "safety", "what concerns safety, at once"


class Stage(IntegerChoices):
    """What of a due item is told; each is told once."""

    AHEAD = 1, "ahead"
    NEAR = 2, "near"
    DUE = 3, "due"
    OVERDUE = 4, "overdue"
    DO_NOT_DRIVE = 9, "do-not-drive"


class JobOrigin(TextChoices):
    """Where a job came from."""

    BACKLOG = "backlog"
    HAND = "hand"
    SERVICE = "service"
    ESTIMATE = "estimate"


class NoteKind(TextChoices):
    """What a piece of know-how tells."""

    WHERE = "where", "where it hides"
    TOOL = "tool", "what tool"
    TORQUE = "torque", "a tightening figure of the maker"
    TIME = "time", "how long it really took"
    NOTE = "note", "anything else"


class EstimateState(TextChoices):
    """Where an estimate stands; a sent one past its last day reads as expired."""

    DRAFT = "draft"
    SENT = "sent"
    ANSWERED = "answered"
    WITHDRAWN = "withdrawn"


EXPIRED = "expired"


class Answer(TextChoices):
    """What a customer said to a line of an estimate."""

    ACCEPTED = "accepted"
    DECLINED = "declined"


class PlanState(TextChoices):
    """Whether a better plan may still be found."""

    IMPROVING = "improving", "answered at once, being solved to the end"
    FINAL = "final"
