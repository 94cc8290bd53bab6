"""Time passing: states of due items move on by set-based statements, by each fleet's own day."""

import uuid
from collections.abc import Sequence
from datetime import date
from zoneinfo import ZoneInfo

from django.db import transaction
from django.db.models import Case, DateField, F, IntegerField, Q, Value, When
from django.utils import timezone

from fleetcare.fleet.models import Fleet
from fleetcare.fleet.services.events import Happening, record_events
from fleetcare.fleet.words import EventKind
from scheduling.core.due import State
from scheduling.models import DueItem
from scheduling.selectors import fleets_with_news_of_due, moving_due

_CHUNK = 500


def sweep_due() -> int:
    """Brings the states of all open due items up to today, each by its fleet's own day; returns how many moved.

    One statement for each of the (at most three) days it is somewhere, whatever the number of fleets and items; run
    again it changes nothing. What became due is then told, once, as an event.
    """
    now = timezone.now()
    zones: dict[date, list[str]] = {}
    for zone in Fleet.objects.order_by().values_list("time_zone", flat=True).distinct():
        zones.setdefault(now.astimezone(ZoneInfo(zone)).date(), []).append(zone)
    moved = sum(_move_on(day, names) for day, names in zones.items())
    for fleet_id in fleets_with_news_of_due():
        announce_due(fleet_id)
    return moved


def _move_on(today: date, zones: Sequence[str]) -> int:
    """Most items never move on a day: the index on `next_move_on` leaves only those that do."""
    overdue = Q(overdue_on__lte=today) | Q(reached=2)
    due = Q(reached=1) | Q(earliest_on__lte=today)
    return moving_due(today, zones).update(
        state=Case(
            When(overdue, then=Value(int(State.OVERDUE))),
            When(due, then=Value(int(State.DUE))),
            default=Value(int(State.SOON)),
            output_field=IntegerField(),
        ),
        next_move_on=Case(
            When(overdue, then=Value(None)),
            When(due, then=F("overdue_on")),
            default=F("earliest_on"),
            output_field=DateField(),
        ),
        changed_at=timezone.now(),
        version=F("version") + 1,
    )


def announce_due(fleet_id: uuid.UUID) -> int:
    """Tells as events which items of a fleet became due or overdue since it was last told; returns how many."""
    fleet = Fleet.objects.filter(pk=fleet_id).first()
    told = 0
    while fleet is not None:
        rows = DueItem.objects.within(fleet).filter(closed_on=None, state__gte=State.DUE)
        news = list(rows.filter(state__gt=F("announced_state")).order_by("id")[:_CHUNK])
        if not news:
            break
        told += _announce(fleet, news)
    return told


@transaction.atomic
def _announce(fleet: Fleet, news: Sequence[DueItem]) -> int:
    """Raises `announced_state` under the condition that nobody else has, so that two sweeps tell it once."""
    mine = []
    for state in (State.DUE, State.OVERDUE):
        ids = [item.pk for item in news if item.state == state]
        rows = DueItem.objects.within(fleet).filter(pk__in=ids, announced_state__lt=state)
        if ids and rows.update(announced_state=int(state)) == len(ids):
            mine += [item for item in news if item.state == state]
        elif ids:
            # Another sweep was faster with some of them: leave all to the next look, none is told twice.
            transaction.set_rollback(True)
            return 0
    record_events(fleet, [Happening(EventKind.ITEM_DUE, item.vehicle_id, item.pk, event_facts(item)) for item in mine])
    return len(mine)


def event_facts(item: DueItem) -> dict[str, object]:
    """What an event says of a due item."""
    return {
        "kind": item.kind,
        "what": item.what,
        "state": State(item.state).word,
        "due_on": item.due_on.isoformat() if item.due_on else None,
        "safety": item.safety,
        "source": item.source,
    }
