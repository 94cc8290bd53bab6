"""Erasing fleets and accounts whose day has come: rows, files, sessions, and again whatever a backup brings back."""

from __future__ import annotations

import logging
import os
import uuid
from pathlib import Path

from allauth.usersessions.models import UserSession
from django.conf import settings
from django.contrib.sessions.models import Session
from django.db import transaction
from django.db.models import QuerySet

from fleetcare.fleet.models import Fleet, Invitation, User
from fleetcare.fleet.services.leaving import leaving_now, lonely_fleets, sole_owned
from fleetcare.portal.models import ExchangeJob
from fleetcare.support import stored_files
from fleetcare.support.doing import erasing
from inspections.models import Photo

log = logging.getLogger(__name__)
_FLEET, _PERSON = "fleet", "person"


def erase_what_left() -> int:
    """Erases what was asked to be erased and not stopped in time; returns how many fleets and accounts."""
    fleets, accounts = leaving_now()
    for leaving in fleets:
        erase_fleet(leaving.fleet)
    return len(fleets) + sum(_erased(each.user) for each in accounts)


def _erased(user: User) -> bool:
    if sole_owned(user):
        # Others came in since, and need an owner: it waits until they have one.
        log.warning("account %s is the only owner of a fleet with members; not erased", user.pk)
        return False
    erase_account(user)
    return True


def erase_fleet(fleet: Fleet) -> None:
    """Everything of a fleet: rows, its audit trail, its photos and files. There is no way back."""
    key = fleet.pk
    with transaction.atomic(), erasing():
        names = [name for pair in Photo.objects.within(fleet).values_list("picture", "thumbnail") for name in pair]
        files = ExchangeJob.objects.within(fleet).values_list("upload", "product")
        names += [name for pair in files for name in pair]
        stored_files.drop_after_commit(*filter(None, names))
        fleet.delete()
        transaction.on_commit(lambda: _note_erased(_FLEET, key))
    log.info("fleet %s was erased", key)


def erase_account(user: User) -> None:
    """Everything of a person: login, sessions, memberships, invitations of their address, fleets of theirs alone."""
    key = user.pk
    for fleet in lonely_fleets(user):
        erase_fleet(fleet)
    with transaction.atomic():
        sessions = UserSession.objects.filter(user=user).values_list("session_key", flat=True)
        Session.objects.filter(session_key__in=list(sessions)).delete()
        addressed_invitations(user).delete()
        user.delete()
        transaction.on_commit(lambda: _note_erased(_PERSON, key))
    log.info("account %s was erased", key)


def addressed_invitations(user: User) -> QuerySet[Invitation]:
    """Invitations of the person's address, in whichever fleet."""
    return Invitation.objects.filter(email__iexact=user.email)


def _kept_list() -> Path:
    return Path(settings.DATA_DIR) / "erased"


def _note_erased(kind: str, key: uuid.UUID) -> None:
    # Beside the database, so that an older backup restored here does not bring back what was erased since.
    handle = os.open(_kept_list(), os.O_WRONLY | os.O_CREAT | os.O_APPEND, 0o600)
    try:
        os.write(handle, f"{kind} {key}\n".encode())
        os.fsync(handle)
    finally:
        os.close(handle)


def erase_again() -> int:
    """Erases what was erased here before and has come back with a backup; returns how many."""
    path = _kept_list()
    if not path.exists():
        return 0
    words = [line.split() for line in path.read_text(encoding="ascii").splitlines()]
    fleets = list(Fleet.objects.filter(pk__in=[key for kind, key in words if kind == _FLEET]))
    for fleet in fleets:
        erase_fleet(fleet)
    people = list(User.objects.filter(pk__in=[key for kind, key in words if kind == _PERSON]))
    for user in people:
        erase_account(user)
    return len(fleets) + len(people)
