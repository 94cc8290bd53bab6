"""Rows stored by one plain statement read back as those of Django's own way."""

from datetime import UTC, datetime
from typing import Any

import pytest

from fleetcare.fleet.models import Event
from fleetcare.support import bulk
from tests.conftest import Cast

FACTS = {"grade": "major", "of": [1, 2.5, None]}


def events(cast: Cast, count: int) -> list[Event]:
    now = datetime(2026, 1, 2, 3, 4, 5, 678901, tzinfo=UTC)
    return [
        Event(fleet=cast.fleet, kind=f"kind {n}", vehicle_id=cast.vehicle.pk, facts=FACTS, happened_at=now)
        for n in range(count)
    ]


def stored(rows: list[Event]) -> list[tuple[Any, ...]]:
    found = Event.objects.within(rows[0].fleet).filter(pk__in=[row.pk for row in rows]).order_by("kind")
    return list(found.values_list("kind", "vehicle_id", "subject_id", "facts", "happened_at"))


def test_they_read_back_as_stored_by_django(cast: Cast) -> None:
    plain, usual = events(cast, 3), events(cast, 3)
    bulk.insert_rows(plain)
    Event.objects.bulk_create(usual)
    assert stored(plain) == stored(usual)


def test_more_than_fit_a_statement_are_all_stored(
    cast: Cast, monkeypatch: pytest.MonkeyPatch, django_assert_num_queries: Any
) -> None:
    monkeypatch.setattr(bulk, "ROWS_AT_ONCE", 2)
    rows = events(cast, 5)
    with django_assert_num_queries(3):
        bulk.insert_rows(rows)
    assert len(stored(rows)) == 5
