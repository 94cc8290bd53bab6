"""A person's own account: the name, language and time zone they chose."""

from zoneinfo import available_timezones

from allauth.account.models import EmailAddress

from fleetcare.fleet.models import User
from fleetcare.kernel.errors import Fault, raise_if_any

LANGUAGES = {"en": "English", "de": "Deutsch"}
"""Languages that pages and mails are written in."""


def change_person(user: User, *, name: str, language: str, time_zone: str) -> User:
    """Changes one's own account. Raises InvalidInput for a language or a zone that there is not."""
    faults = []
    if language not in LANGUAGES:
        faults.append(Fault("/language", "unknown-language", f"One of: {', '.join(LANGUAGES)}."))
    if time_zone not in available_timezones():
        faults.append(Fault("/time_zone", "unknown-zone", "Give an IANA time zone, for example Europe/Berlin."))
    if len(name) > 120:
        faults.append(Fault("/name", "max-length", "At most 120 characters."))
    raise_if_any(faults)
    user.name, user.language, user.time_zone = name, language, time_zone
    user.save(update_fields=["name", "language", "time_zone"])
    return user


def settle_address(user: User) -> None:
    """Keeps the address that a person signs in with as their confirmed one, where none is.

    For installations where owners invite: the address came from them. Without a confirmed address the library would
    drop it, and with it the way in, as soon as another one is asked for.
    """
    if EmailAddress.objects.filter(user=user, verified=True).exists():
        return
    said = {"verified": True, "primary": True}
    EmailAddress.objects.update_or_create(user=user, email=user.email.lower(), defaults=said)
