"""Columns for documents: to the database and to migrations they are JSON columns like any other."""

from typing import Any

import pytest
from django.db import connection, models

from fleetcare.support.documents import DocumentField
from inspections.models import Assessment
from tests.conftest import Cast

DOCUMENT = {"score": 44.75, "dangers": [], "part": "Türschloß", "nothing": None, "small": 1e-9, "long": 2**53}


def test_migrations_see_a_json_column() -> None:
    assert DocumentField(default=list).deconstruct() == models.JSONField(default=list).deconstruct()


@pytest.mark.parametrize("document", [DOCUMENT, [], "text", 0])
def test_what_is_stored_reads_back_and_can_be_looked_into(cast: Cast, document: Any) -> None:
    Assessment.objects.within(cast.fleet).filter(vehicle=cast.vehicle).delete()
    row = {"as_of": "2026-01-01", "revision": 1, "digest": "x", "condition": document}
    Assessment.objects.create(fleet=cast.fleet, vehicle=cast.vehicle, **row)
    found = Assessment.objects.within(cast.fleet).get(vehicle=cast.vehicle)
    assert found.condition == document
    if document == DOCUMENT:
        rows = Assessment.objects.within(cast.fleet)
        assert rows.filter(condition__part="Türschloß").count() == 1
        assert list(rows.values_list("condition__score", flat=True)) == [44.75]
        with connection.cursor() as cursor:
            cursor.execute("SELECT condition FROM inspections_assessment")
            assert "Türschloß" in str(cursor.fetchone()[0])
