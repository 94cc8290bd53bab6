"""Today, where the fleet is."""

from datetime import date
from zoneinfo import ZoneInfo

from django.utils import timezone

from fleetcare.fleet.models import Fleet


def today(fleet: Fleet) -> date:
    """The calendar day in the fleet's own time zone."""
    return timezone.now().astimezone(ZoneInfo(fleet.time_zone)).date()
