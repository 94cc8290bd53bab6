"""Stopping mails by the link in them: no login, no cookie, one click (RFC 8058)."""

from dataclasses import dataclass

from django.db.models import F

from scheduling.models import ReminderChoice
from scheduling.services.letters.readers import read_stop_token
from scheduling.words import LetterKind, Rhythm


@dataclass(frozen=True, slots=True)
class Stoppable:
    """What a link in a mail is about: whose mails, of which kind, and what comes now."""

    fleet: str
    kind: LetterKind
    digest_comes: bool
    safety_comes: bool


def stoppable(token: str) -> Stoppable | None:
    """What the link is about, or None where it is not one of ours or its reader is gone. Changes nothing."""
    found = _choice(token)
    if found is None:
        return None
    choice, kind = found
    return Stoppable(choice.fleet.name, kind, choice.rhythm != Rhythm.NEVER, choice.safety_at_once)


def stop(token: str, *, everything: bool = False) -> bool:
    """Stops the kind of mail that the link came with, or all kinds; returns whether the link is one of ours."""
    found = _choice(token)
    if found is None:
        return False
    choice, kind = found
    changes: dict[str, object] = {}
    if everything or kind == LetterKind.DIGEST:
        changes["rhythm"] = Rhythm.NEVER
    if everything or kind == LetterKind.SAFETY:
        changes["safety_at_once"] = False
    rows = ReminderChoice.objects.within(choice.fleet_id).filter(pk=choice.pk)
    rows.update(version=F("version") + 1, **changes)
    return True


def _choice(token: str) -> tuple[ReminderChoice, LetterKind] | None:
    named = read_stop_token(token)
    if named is None:
        return None
    fleet, pk, kind = named
    choice = ReminderChoice.objects.within(fleet).filter(pk=pk).select_related("fleet").first()
    return None if choice is None else (choice, kind)
