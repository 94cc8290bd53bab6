"""Who is reminded and how they want it, what they were told, and the mails that told it."""

from django.db import models

from fleetcare.support.tenancy import TenantModel
from scheduling.models.due import DueItem
from scheduling.models.queue import QueuedRow
from scheduling.words import LetterKind, QueueState, Rhythm, Stage

ENOUGH_BOUNCES = 3
"""After so many mails refused for good in a row an address is left alone until somebody corrects it."""


class ReminderChoice(TenantModel):
    """A reader: a member or a contact of the fleet, and how they want to be reminded.

    Hours are the reader's own; so is the day on which something is due to them. The zone is the one chosen here, else
    the user's, else (also where the user never chose one and stands at UTC) the fleet's.
    """

    membership = models.OneToOneField("fleet.Membership", models.CASCADE, null=True, related_name="reminder_choice")
    contact = models.OneToOneField("fleet.Contact", models.CASCADE, null=True, related_name="reminder_choice")
    rhythm = models.CharField(max_length=8, choices=Rhythm, default=Rhythm.WEEKLY)
    safety_at_once = models.BooleanField(default=True)
    unwanted_kinds = models.CharField(max_length=200, blank=True)
    """Kinds of due items not to be told, each between commas: ",tax,insurance,"."""
    weekday = models.PositiveSmallIntegerField(default=3)
    """Of a weekly mail, 0 is Monday."""
    month_day = models.PositiveSmallIntegerField(default=1)
    """Of a monthly mail; the last of the month where it has no such day."""
    hour = models.PositiveSmallIntegerField(default=7)
    quiet_from_hour = models.PositiveSmallIntegerField(default=21)
    quiet_to_hour = models.PositiveSmallIntegerField(default=6)
    """Nothing is sent from the one hour to the other; equal means no quiet hours."""
    first_lead_days = models.PositiveSmallIntegerField(null=True)
    """How long before something is due it is told first; empty: as its own rule says."""
    second_lead_days = models.PositiveSmallIntegerField(null=True, default=7)
    """How long before it is told again; empty: not again."""
    language = models.CharField(max_length=12, blank=True)
    time_zone = models.CharField(max_length=64, blank=True)
    last_slot_on = models.DateField(null=True)
    """The reader's day whose gathered mail was made last."""
    swept_on = models.DateField(null=True)
    """The reader's day for which everything due was gone through last, and (below) when that was."""
    swept_at = models.DateTimeField(null=True)
    bounces = models.PositiveSmallIntegerField(default=0)
    version = models.PositiveIntegerField(default=1)

    class Meta:
        indexes = [models.Index(fields=["fleet", "id"], name="choice_by_fleet")]
        constraints = [
            models.CheckConstraint(
                condition=models.Q(membership__isnull=False, contact__isnull=True)
                | models.Q(membership__isnull=True, contact__isnull=False),
                name="choice_is_of_one_person",
            ),
            models.CheckConstraint(
                condition=models.Q(
                    weekday__lte=6,
                    month_day__gte=1,
                    month_day__lte=31,
                    hour__lte=23,
                    quiet_from_hour__lte=23,
                    quiet_to_hour__lte=23,
                ),
                name="choice_hours_exist",
            ),
        ]


class UnwantedVehicle(TenantModel):
    """A vehicle that a member does not want to be reminded of; a ban on driving it is told all the same.

    What a contact is told about stands at the contact.
    """

    reader = models.ForeignKey(ReminderChoice, models.CASCADE, related_name="unwanted_vehicles", db_index=False)
    vehicle = models.ForeignKey("fleet.Vehicle", models.CASCADE, related_name="+")

    class Meta:
        constraints = [models.UniqueConstraint(fields=["reader", "vehicle"], name="unwanted_vehicle_once")]


class Letter(QueuedRow):
    """One mail to one reader. What it tells is decided when it is made, and put into words when it is sent."""

    reader = models.ForeignKey(ReminderChoice, models.CASCADE, related_name="letters", db_index=False)
    kind = models.CharField(max_length=8, choices=LetterKind)
    batch = models.UUIDField()
    """Which run of the maker made it."""
    subject = models.CharField(max_length=200, blank=True)
    """As it was sent."""

    class Meta:
        indexes = [
            models.Index(fields=["not_before"], name="letter_waiting", condition=models.Q(state=QueueState.WAITING)),
            models.Index(fields=["fleet", "-made_at", "-id"], name="letter_by_fleet"),
            models.Index(fields=["batch", "reader"], name="letter_by_batch"),
        ]


class Delivery(TenantModel):
    """That a reader is to be told a stage of a due item, or that a vehicle must not be driven: once, whatever happens.

    The unique key is what makes it once; sweeps insert and leave what is there. The row waits until a letter takes it.
    """

    reader = models.ForeignKey(ReminderChoice, models.CASCADE, related_name="deliveries", db_index=False)
    item = models.ForeignKey(DueItem, models.CASCADE, null=True, related_name="deliveries", db_index=False)
    event = models.ForeignKey("fleet.Event", models.CASCADE, null=True, related_name="+", db_index=False)
    channel = models.CharField(max_length=8, default="mail")
    stage = models.PositiveSmallIntegerField(choices=Stage)
    kind = models.CharField(max_length=8, choices=LetterKind)
    letter = models.ForeignKey(Letter, models.SET_NULL, null=True, related_name="deliveries")
    made_at = models.DateTimeField()

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["item", "reader", "stage", "channel", "fleet"],
                condition=models.Q(item__isnull=False),
                name="delivery_once",
            ),
            models.UniqueConstraint(
                fields=["event", "reader", "channel", "fleet"],
                condition=models.Q(event__isnull=False),
                name="delivery_once_an_event",
            ),
            models.CheckConstraint(
                condition=models.Q(item__isnull=False, event__isnull=True)
                | models.Q(item__isnull=True, event__isnull=False),
                name="delivery_is_about_one_thing",
            ),
        ]
        indexes = [
            models.Index(fields=["reader", "kind"], name="delivery_waiting", condition=models.Q(letter=None)),
        ]
