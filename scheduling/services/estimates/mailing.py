"""Mailing the private link of an estimate to its contact."""

import logging
import smtplib
from datetime import timedelta
from email.utils import formataddr

from django.core.mail import EmailMultiAlternatives
from django.db.models import F
from django.template.loader import render_to_string
from django.utils import timezone, translation
from django.utils.translation import pgettext

from fleetcare.fleet.access import Access
from fleetcare.fleet.models import Contact
from fleetcare.fleet.words import Role
from fleetcare.kernel.errors import Conflict, InvalidInput
from scheduling.models import Estimate
from scheduling.words import EstimateState

MOST_A_DAY = 50
"""Of a fleet in 24 hours, so that nobody mails strangers through us."""
MOST_OF_ONE = 5
log = logging.getLogger(__name__)


def mail_estimate(access: Access, estimate: Estimate, address: str) -> str:
    """Mails the `address` that sending gave to the estimate's contact, in their language; whom it went to.

    Planners and owners. Raises InvalidInput without a contact, Conflict for an estimate that is not sent, for too
    many mails, and where the mail server takes none: then the link stands and can be given by hand.
    """
    access.require(Role.PLANNER)
    if estimate.contact is None:
        raise InvalidInput.at("/contact", "required", "A link is mailed to a contact; choose one, or give it by hand.")
    if estimate.state != EstimateState.SENT:
        raise Conflict(f"This estimate is {estimate.state}; send it first.", code="estimate-state")
    _refuse_many(access, estimate)
    try:
        _message(estimate, estimate.contact, address).send()
    except (OSError, smtplib.SMTPException) as error:
        log.warning("The mail of estimate %s was not taken: %s", estimate.pk, error)
        raise Conflict("The mail could not be sent. The link works: give it by hand.", code="mail-not-sent") from error
    mine = Estimate.objects.within(access.fleet).filter(pk=estimate.pk)
    mine.update(mailed_to=estimate.contact.email, mailed_at=timezone.now(), mails=F("mails") + 1)
    return estimate.contact.email


def _refuse_many(access: Access, estimate: Estimate) -> None:
    if estimate.mails >= MOST_OF_ONE:
        sentence = f"This estimate was mailed {MOST_OF_ONE} times; give its link by hand."
        raise Conflict(sentence, code="too-many-mails")
    since = timezone.now() - timedelta(days=1)
    if Estimate.objects.within(access.fleet).filter(mailed_at__gt=since).count() >= MOST_A_DAY:
        sentence = f"A fleet mails at most {MOST_A_DAY} estimates in 24 hours; go on tomorrow."
        raise Conflict(sentence, code="too-many-mails")


def _message(estimate: Estimate, contact: Contact, address: str) -> EmailMultiAlternatives:
    with translation.override(contact.language):
        told = {
            "fleet": estimate.fleet,
            "estimate": estimate,
            "vehicle": estimate.vehicle,
            "name": contact.name,
            "address": address,
            "language": translation.get_language(),
        }
        subject = pgettext("mail", "Estimate %(number)s of %(fleet)s")
        message = EmailMultiAlternatives(
            subject % {"number": estimate.number, "fleet": " ".join(estimate.fleet.name.split())},
            render_to_string("mail/estimate.txt", told),
            to=[formataddr((" ".join(contact.name.split()), contact.email))],
            # RFC 3834: no machine is to answer this.
            headers={"Auto-Submitted": "auto-generated"},
        )
        message.attach_alternative(render_to_string("mail/estimate.html", told), "text/html")
    return message
