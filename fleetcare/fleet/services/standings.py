"""Storing where many vehicles stand, from figures computed above."""

from collections.abc import Iterable, Sequence

from fleetcare.fleet.models import Standing


def store_standings(standings: Iterable[Standing], fields: Sequence[str]) -> None:
    """Writes these columns of rows that exist already; one statement, call inside a transaction.

    An insert that turns into an update on the row's own key: a quarter of the time of a CASE for every column.
    """
    Standing.objects.bulk_create(standings, update_conflicts=True, unique_fields=["id"], update_fields=list(fields))
