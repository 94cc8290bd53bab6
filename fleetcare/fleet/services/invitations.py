"""Invitations to a fleet: sent by mail, accepted once by whoever has the address."""

import logging
import smtplib
from datetime import timedelta

from allauth.account.models import EmailAddress
from django.conf import settings
from django.contrib.auth.password_validation import validate_password
from django.core.exceptions import ValidationError
from django.core.mail import EmailMultiAlternatives
from django.db import IntegrityError, transaction
from django.db.models import F, Q
from django.template.loader import render_to_string
from django.urls import reverse
from django.utils import timezone, translation
from django.utils.translation import gettext

from fleetcare.fleet.access import Access
from fleetcare.fleet.models import Invitation, Membership, User
from fleetcare.fleet.words import Role
from fleetcare.kernel.errors import Conflict, Fault, Forbidden, NotFound, raise_if_any
from fleetcare.support.secret_links import digest_of, make_token

DAYS_OPEN = 14
MOST_A_DAY = 20
"""Invitations of a fleet in 24 hours, so that nobody mails strangers through us."""
_LONGEST_NAME = 120
log = logging.getLogger(__name__)


def invite(access: Access, *, email: str, role: Role) -> Invitation:
    """Invites an address by mail; an open invitation of the same address is replaced. Owners only.

    Raises Conflict for a member, for too many in a day, and where the mail server takes no mail: then nothing stays.
    """
    access.require(Role.OWNER)
    address = email.strip().lower()
    token, digest = make_token()
    try:
        invitation = _stored(access, address, role, digest)
    except IntegrityError as error:
        raise Conflict("This address is being invited by somebody else just now.", code="invited-already") from error
    try:
        _mail(invitation, token)
    except (OSError, smtplib.SMTPException) as error:
        log.warning("The mail of invitation %s was not taken: %s", invitation.pk, error)
        invitation.delete()
        raise Conflict("The mail could not be sent; try again later.", code="mail-not-sent") from error
    return invitation


@transaction.atomic
def _stored(access: Access, address: str, role: Role, digest: str) -> Invitation:
    _refuse_member(access, address)
    _refuse_many(access)
    now = timezone.now()
    mine = Invitation.objects.within(access.fleet)
    mine.filter(email__iexact=address, accepted_at=None, revoked_at=None).update(revoked_at=now)
    return Invitation.objects.create(
        fleet=access.fleet,
        email=address,
        role=role,
        digest=digest,
        invited_by_id=access.actor.removeprefix("user:") if access.actor.startswith("user:") else None,
        created_at=now,
        expires_at=now + timedelta(days=DAYS_OPEN),
    )


def _refuse_member(access: Access, address: str) -> None:
    if Membership.objects.within(access.fleet).filter(user__email__iexact=address).exists():
        raise Conflict("This person is a member already.", code="member-exists")


def _refuse_many(access: Access) -> None:
    since = timezone.now() - timedelta(days=1)
    if Invitation.objects.within(access.fleet).filter(created_at__gt=since).count() >= MOST_A_DAY:
        sentence = f"A fleet sends at most {MOST_A_DAY} invitations in 24 hours; go on tomorrow."
        raise Conflict(sentence, code="too-many-invitations")


def _mail(invitation: Invitation, token: str) -> None:
    known = User.objects.filter(email__iexact=invitation.email).first()
    with translation.override(known.language if known else translation.get_language()):
        told = {
            "fleet": invitation.fleet,
            "by": invitation.invited_by,
            "address": settings.SITE_URL + reverse("invitation", args=[token]),
            "days": DAYS_OPEN,
            "language": translation.get_language(),
        }
        subject = gettext("Invitation to %(fleet)s") % {"fleet": " ".join(invitation.fleet.name.split())}
        message = EmailMultiAlternatives(subject, render_to_string("fleet/invitation.txt", told), to=[invitation.email])
        message.attach_alternative(render_to_string("fleet/invitation.html", told), "text/html")
        message.extra_headers["Auto-Submitted"] = "auto-generated"
        message.send()


@transaction.atomic
def revoke_invitation(access: Access, invitation: Invitation) -> None:
    """From now on the link opens nothing. Repeating it changes nothing. Owners only."""
    access.require(Role.OWNER)
    rows = Invitation.objects.within(access.fleet).filter(pk=invitation.pk, accepted_at=None, revoked_at=None)
    rows.update(revoked_at=timezone.now())


def find_invitation(token: str) -> Invitation:
    """The invitation that this secret opens, its fleet loaded; accepted ones too, for who accepted them.

    Raises NotFound for a secret that is unknown, revoked, too old, or given out by who is no owner any more.
    """
    # The one query of this table that cannot name a fleet first: the secret is what leads to the fleet.
    rows = Invitation.objects.select_related("fleet", "invited_by").filter(digest=digest_of(token), revoked_at=None)
    by_owner = Q(invited_by=None) | Q(
        pk__in=rows.filter(invited_by__memberships__fleet=F("fleet"), invited_by__memberships__role=Role.OWNER).values(
            "pk"
        )
    )
    found = rows.filter(by_owner).filter(Q(expires_at__gt=timezone.now()) | ~Q(accepted_at=None)).first()
    if found is None:
        raise NotFound
    return found


def has_account(invitation: Invitation) -> bool:
    """Whether the address can sign in already; a member added without a password cannot."""
    user = User.objects.filter(email__iexact=invitation.email).first()
    return user is not None and user.has_usable_password()


@transaction.atomic
def accept_invitation(user: User, token: str) -> Membership:
    """Joins the fleet; a second time changes nothing, and a member keeps the role there is.

    Raises Forbidden for another address than the invited one, NotFound for an invitation that is no more.
    """
    invitation = find_invitation(token)
    if user.email.lower() != invitation.email.lower():
        raise Forbidden("This invitation is for another address.")
    memberships = Membership.objects.within(invitation.fleet_id)
    open_one = Invitation.objects.within(invitation.fleet_id).filter(
        pk=invitation.pk, accepted_at=None, revoked_at=None
    )
    if open_one.update(accepted_at=timezone.now()):
        said = {"fleet_id": invitation.fleet_id, "role": invitation.role}
        return memberships.get_or_create(user=user, defaults=said)[0]
    # Accepted before: whoever was removed since does not come back by the old link.
    return memberships.one(user=user)


def accept_as_new(token: str, *, name: str, password: str) -> User:
    """Makes the account of the invited address, joins, and returns who joined; the link proved the address.

    Raises InvalidInput for a weak password or a long name, Conflict where the address has an account that signs in,
    NotFound for an invitation that is no more.
    """
    invitation = find_invitation(token)
    if has_account(invitation):
        raise Conflict("There is an account with this address; sign in with it.", code="account-exists")
    if invitation.accepted_at is not None:
        raise NotFound
    raise_if_any(_account_faults(User(email=invitation.email, name=name), password))
    try:
        with transaction.atomic():
            user = User.objects.filter(email__iexact=invitation.email).first()
            user = user or User.objects.create_user(invitation.email, language=_language())
            user.name = name or user.name
            user.set_password(password)
            user.save(update_fields=["name", "password"])
            said = {"verified": True, "primary": True}
            EmailAddress.objects.update_or_create(user=user, email=invitation.email, defaults=said)
            accept_invitation(user, token)
    except IntegrityError as error:
        raise Conflict("There is an account with this address; sign in with it.", code="account-exists") from error
    return user


def _language() -> str:
    return (translation.get_language() or "en").split("-")[0]


def _account_faults(user: User, password: str) -> list[Fault]:
    faults = []
    if len(user.name) > _LONGEST_NAME:
        faults.append(Fault("/name", "max-length", f"At most {_LONGEST_NAME} characters."))
    try:
        validate_password(password, user)
    except ValidationError as error:
        faults += [Fault("/password", "weak", sentence) for sentence in error.messages]
    return faults
