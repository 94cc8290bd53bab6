"""Asking to have a fleet or an account erased, and changing one's mind until the day comes."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

from django.conf import settings
from django.core.mail import EmailMessage
from django.db import transaction
from django.db.models import Q
from django.template.loader import render_to_string
from django.urls import reverse
from django.utils import timezone, translation
from django.utils.translation import gettext

from fleetcare.fleet.access import Access
from fleetcare.fleet.models import AccountLeaving, Fleet, FleetLeaving, Membership, User
from fleetcare.fleet.services.auditing import note_of_account
from fleetcare.fleet.words import Role
from fleetcare.kernel.errors import Conflict, NotFound
from fleetcare.support.secret_links import digest_of, make_token

GRACE = timedelta(days=14)
"""How long minds can be changed; well within the month in which the law wants an answer (GDPR, article 12)."""


def leaving_of(access: Access) -> FleetLeaving | None:
    """When the fleet is going to be erased, if it is. Owners only."""
    access.require(Role.OWNER)
    return FleetLeaving.objects.within(access.fleet).first()


@transaction.atomic
def leave_fleet(access: Access) -> FleetLeaving:
    """The fleet is erased after the grace period; every owner gets a mail with a link that stops it. Owners only.

    Asking again changes nothing.
    """
    access.require(Role.OWNER)
    there = leaving_of(access)
    if there is not None:
        return there
    token, digest = make_token()
    now = timezone.now()
    made = FleetLeaving.objects.create(
        fleet=access.fleet, digest=digest, asked_by=access.actor, asked_at=now, erase_after=now + GRACE
    )
    owners = Membership.objects.within(access.fleet).filter(role=Role.OWNER).select_related("user")
    _tell_after_commit([row.user for row in owners], access.fleet.name, token, made)
    return made


@transaction.atomic
def keep_fleet(access: Access) -> None:
    """The fleet stays after all. Repeating it changes nothing. Owners only."""
    access.require(Role.OWNER)
    FleetLeaving.objects.within(access.fleet).delete()


def sole_owned(user: User) -> list[Fleet]:
    """Fleets with other members that nobody else owns."""
    mine = Membership.objects.filter(user=user, role=Role.OWNER)
    others = Membership.objects.exclude(user=user)
    owned_by_others = others.filter(role=Role.OWNER).values("fleet")
    owned = Fleet.objects.filter(pk__in=mine.values("fleet")).exclude(pk__in=owned_by_others)
    return list(owned.filter(pk__in=others.values("fleet")).order_by("name", "id"))


def lonely_fleets(user: User) -> list[Fleet]:
    """Fleets that nobody else belongs to: they go with the account."""
    mine = Membership.objects.filter(user=user)
    others = Membership.objects.exclude(user=user)
    return list(Fleet.objects.filter(pk__in=mine.values("fleet")).exclude(pk__in=others.values("fleet")))


@transaction.atomic
def leave_account(user: User) -> AccountLeaving:
    """The account is erased after the grace period, with the fleets that nobody else belongs to.

    Raises Conflict for the only owner of a fleet with other members. Asking again changes nothing.
    """
    there = AccountLeaving.objects.filter(pk=user.pk).first()
    if there is not None:
        return there
    _refuse_sole_owner(user)
    token, digest = make_token()
    now = timezone.now()
    made = AccountLeaving.objects.create(user=user, digest=digest, asked_at=now, erase_after=now + GRACE)
    note_of_account(user, "leaving")
    _tell_after_commit([user], "", token, made)
    return made


def _refuse_sole_owner(user: User) -> None:
    kept = sole_owned(user)
    if kept:
        names = ", ".join(fleet.name for fleet in kept)
        raise Conflict(f"Others need you as their owner: {names}. Name another owner first.", code="last-owner")


@transaction.atomic
def keep_account(user: User) -> None:
    """The account stays after all. Repeating it changes nothing."""
    if AccountLeaving.objects.filter(pk=user.pk).delete()[0]:
        note_of_account(user, "staying")


def find_leaving(token: str) -> FleetLeaving | AccountLeaving:
    """What the secret of a mail can stop. Raises NotFound where that is stopped, done, or never was."""
    digest = digest_of(token)
    found = FleetLeaving.objects.select_related("fleet").filter(digest=digest).first()
    account = AccountLeaving.objects.select_related("user").filter(digest=digest).first()
    if found is None and account is None:
        raise NotFound
    return found or account  # type: ignore[return-value]


@transaction.atomic
def stay(token: str) -> None:
    """Stops what the secret stands for; whoever holds it got the owner's mail."""
    found = find_leaving(token)
    if isinstance(found, AccountLeaving):
        keep_account(found.user)
    else:
        FleetLeaving.objects.within(found.fleet_id).filter(pk=found.pk).delete()


def leaving_now() -> tuple[list[FleetLeaving], list[AccountLeaving]]:
    """Whose day has come; for the sweep, which belongs to no fleet."""
    come = Q(erase_after__lte=timezone.now())
    return list(FleetLeaving.objects.filter(come)), list(AccountLeaving.objects.filter(come).select_related("user"))


def _tell_after_commit(users: list[User], fleet_name: str, token: str, made: Any) -> None:
    for user in users:
        with translation.override(user.language):
            told = {
                "fleet": fleet_name,
                "on": made.erase_after,
                "address": settings.SITE_URL + reverse("stay", args=[token]),
            }
            subject = gettext("%(what)s will be erased") % {
                "what": " ".join(fleet_name.split()) or gettext("Your account")
            }
            message = EmailMessage(subject, render_to_string("fleet/leaving.txt", told), to=[user.email])
        message.extra_headers["Auto-Submitted"] = "auto-generated"
        # A mail server that is away must not keep anybody from leaving: any owner can stop it on its page too.
        transaction.on_commit(lambda message=message: message.send(fail_silently=True))  # type: ignore[misc]
