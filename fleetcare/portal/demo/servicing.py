"""When the work that comes round was last done on a vehicle: in time by the careful, long ago by others."""

from collections.abc import Collection, Iterator, Mapping
from datetime import date, timedelta

from fleetcare.kernel.dates import DAYS_PER_YEAR
from fleetcare.portal.demo.chance import seeded
from fleetcare.portal.demo.events import Service
from fleetcare.portal.demo.fixtures import Character, DemoService, DemoVehicle
from fleetcare.portal.demo.road import Odometer
from inspections.catalogue.service_templates import service_templates

_DAYS_PER_MONTH = DAYS_PER_YEAR / 12
_GONE_BY: Mapping[Character, tuple[float, float]] = {
    "careful": (0.1, 0.95),
    "ordinary": (0.2, 1.1),
    "neglected": (0.9, 1.6),
    "dangerous": (0.7, 1.4),
}
"""How much of the interval has gone by since, from least to most. Invented; nobody knows of those never looked at."""


def services(
    vehicle: DemoVehicle,
    wanted: Collection[DemoService],
    odometer: Odometer,
    since: date,
    today: date,
    busy: Collection[date],
) -> Iterator[Service]:
    """The last time of each kind of work, where it was after `since`; on no `busy` day, when jobs were done."""
    if vehicle.character not in _GONE_BY:
        return
    for each in wanted:
        gone_by = seeded(vehicle.name, each.key).uniform(*_GONE_BY[vehicle.character])
        on = today - timedelta(days=max(round(gone_by * _interval_days(each, vehicle)), 1))
        while on in busy:
            # A job that renews the part marks the work as done by itself, once a day.
            on -= timedelta(days=1)
        if on >= since:
            yield Service(on, odometer.shown_km(on), each.key)


def _interval_days(service: DemoService, vehicle: DemoVehicle) -> float:
    every_km, every_months = None, service.every_months
    if service.template:
        template = service_templates()[service.template]
        every_km, every_months = template.every_km, template.every_months
    days = [every_months * _DAYS_PER_MONTH] if every_months else []
    days += [every_km / vehicle.km_per_year * DAYS_PER_YEAR] if every_km else []
    return min(days)
