"""Sending an estimate by a private link, and taking the link back."""

from datetime import date, datetime, time, timedelta
from zoneinfo import ZoneInfo

from django.db import transaction
from django.utils import timezone

from fleetcare.fleet.access import Access
from fleetcare.fleet.clock import today
from fleetcare.fleet.models import Fleet
from fleetcare.fleet.words import Role
from fleetcare.kernel.errors import Conflict, InvalidInput
from fleetcare.support.secret_links import make_token
from fleetcare.support.versions import store
from scheduling.models import Estimate, EstimateLine
from scheduling.words import EXPIRED, EstimateState

USUAL_DAYS = 14
MOST_DAYS = 180


@transaction.atomic
def send_estimate(access: Access, estimate: Estimate, *, valid_until: date | None = None) -> tuple[Estimate, str]:
    """Makes the private link, shown this once; the link of an earlier sending stops working. Planners and owners.

    `valid_until` is the last day, in the fleet's zone, on which it can be read and answered. Raises InvalidInput for
    a day that has passed or lies too far, Conflict for an estimate without lines, and one that is answered or
    withdrawn.
    """
    access.require(Role.PLANNER)
    on = today(access.fleet)
    last = valid_until or on + timedelta(days=USUAL_DAYS)
    if not on <= last <= on + timedelta(days=MOST_DAYS):
        raise InvalidInput.at("/valid_until", "range", f"A day from today, within {MOST_DAYS} days.")
    if estimate.state not in {EstimateState.DRAFT, EstimateState.SENT}:
        raise Conflict(f"This estimate is {estimate.state}; draft another.", code="estimate-state")
    if not EstimateLine.objects.within(access.fleet).filter(estimate=estimate).exists():
        raise Conflict("There is nothing on this estimate yet.", code="no-lines")
    token, digest = make_token()
    estimate.state, estimate.token_digest = EstimateState.SENT, digest
    estimate.sent_at, estimate.expires_at = timezone.now(), _end_of(last, access.fleet)
    store(estimate, ["state", "token_digest", "sent_at", "expires_at"])
    return estimate, token


def _end_of(day: date, fleet: Fleet) -> datetime:
    """The instant at which a day is over where the fleet is."""
    return datetime.combine(day + timedelta(days=1), time.min, ZoneInfo(fleet.time_zone))


@transaction.atomic
def withdraw_estimate(access: Access, estimate: Estimate) -> Estimate:
    """Takes the link back at once; what was answered stays on record. Planners and owners.

    An answered estimate stays answered, and can no longer be read through its link. Raises Conflict for one withdrawn
    already.
    """
    access.require(Role.PLANNER)
    if estimate.state == EstimateState.WITHDRAWN:
        raise Conflict("This estimate is withdrawn already.", code="estimate-state")
    if estimate.state == EstimateState.ANSWERED:
        estimate.expires_at = timezone.now()
        store(estimate, ["expires_at"])
        return estimate
    estimate.state, estimate.token_digest = EstimateState.WITHDRAWN, None
    store(estimate, ["state", "token_digest"])
    return estimate


def state_of(estimate: Estimate) -> str:
    """Where an estimate stands now; a sent one past its last day is expired."""
    over = estimate.expires_at is not None and estimate.expires_at <= timezone.now()
    return EXPIRED if estimate.state == EstimateState.SENT and over else estimate.state
