"""A reader as a mail needs them: name, address, language, clock, and where their mails can be stopped."""

from dataclasses import dataclass
from datetime import datetime, time, timedelta
from zoneinfo import ZoneInfo

from babel import Locale, UnknownLocaleError
from django.conf import settings
from django.core import signing
from django.urls import reverse
from django.utils.translation import to_locale

from scheduling.core.slots import is_quiet
from scheduling.models import ReminderChoice
from scheduling.services.notices import zone_of
from scheduling.words import LetterKind

LANGUAGES = ("en", "de")
"""What the mails are written in; other readers get the first."""
_SALT = "fleetcare.reminders"


@dataclass(frozen=True, slots=True)
class Reader:
    """Whom a mail is for."""

    choice: ReminderChoice
    name: str
    email: str
    language: str
    zone: ZoneInfo

    @classmethod
    def of(cls, choice: ReminderChoice) -> "Reader":
        """Of a choice loaded with its member or contact."""
        user = choice.membership.user if choice.membership else None
        person = user or choice.contact
        assert person is not None, "a choice is a member's or a contact's"  # noqa: S101
        own_zone = user.time_zone if user and user.time_zone != "UTC" else ""
        language = _supported(choice.language or person.language)
        zone = zone_of(choice.time_zone or own_zone or choice.fleet.time_zone)
        return cls(choice, person.name, person.email, language, zone)

    @property
    def locale(self) -> Locale:
        """How numbers and days are written."""
        try:
            return Locale.parse(to_locale(self.language))
        except (UnknownLocaleError, ValueError):
            return Locale(self.language.partition("-")[0])

    def wall(self, now: datetime) -> datetime:
        """The time on the reader's wall, without a zone."""
        return now.astimezone(self.zone).replace(tzinfo=None)

    def quiet_until(self, now: datetime) -> datetime | None:
        """When the reader's quiet hours that hold now are over, or None outside them."""
        wall, choice = self.wall(now), self.choice
        if not is_quiet(wall.time(), choice.quiet_from_hour, choice.quiet_to_hour):
            return None
        end = datetime.combine(wall.date(), time(choice.quiet_to_hour))
        if end <= wall:
            end += timedelta(days=1)
        # An hour that a clock put forward leaves out becomes the one after it.
        return max(end.replace(tzinfo=self.zone), now + timedelta(minutes=1))


def _supported(language: str) -> str:
    return language if language.partition("-")[0] in LANGUAGES else LANGUAGES[0]


def stop_token(choice: ReminderChoice, kind: str) -> str:
    """What lets whoever got a mail stop its kind without a login: a signed name of reader and kind."""
    return signing.dumps([choice.fleet_id.hex, choice.pk.hex, kind], salt=_SALT)


def read_stop_token(token: str) -> tuple[str, str, LetterKind] | None:
    """Fleet, choice and kind named by a token, or None where it is not one of ours. It never runs out."""
    try:
        fleet, choice, kind = signing.loads(token, salt=_SALT)
        return str(fleet), str(choice), LetterKind(kind)
    except (signing.BadSignature, ValueError, TypeError):
        return None


def absolute(name: str, *args: object) -> str:
    """The address of a page as a reader of mails needs it."""
    return f"{settings.SITE_URL}{reverse(name, args=args)}"
