"""What a vehicle cost by month and year: jobs done and fuel."""

from collections import defaultdict
from collections.abc import Iterable
from datetime import date
from typing import TYPE_CHECKING

from django.utils.translation import gettext

from fleetcare.portal.charts.drawing import Axis, Bar, Chart
from fleetcare.portal.charts.ticks import round_ticks

if TYPE_CHECKING:
    from fleetcare.portal.record.series import Series
    from fleetcare.portal.web.presenters.figures import Figures

MONTHS_DRAWN = 12
_HALF_BAR = 0.38
_MARKS = (0, 4, 8)
_ROOM = 1.1
Sums = dict[int, tuple[int, int]]
"""What jobs and fuel cost in minor units, by a month (counted from year 0) or a year."""


def _month(day: date) -> int:
    return day.year * 12 + day.month - 1


def spend(series: "Series") -> tuple[Sums, Sums]:
    """Jobs and fuel by month and by year."""
    paid = [(on, cost, 0) for on, cost in series.jobs]
    paid += [(fill.on, 0, fill.price_minor) for fill in series.fills if fill.price_minor is not None]
    by_month = _summed((_month(on), jobs, fuel) for on, jobs, fuel in paid)
    return by_month, _summed((month // 12, *sums) for month, sums in by_month.items())


def _summed(rows: Iterable[tuple[int, int, int]]) -> Sums:
    jobs: dict[int, int] = defaultdict(int)
    fuel: dict[int, int] = defaultdict(int)
    for key, of_jobs, of_fuel in rows:
        jobs[key] += of_jobs
        fuel[key] += of_fuel
    return {key: (jobs[key], fuel[key]) for key in sorted(jobs)}


def spend_chart(figures: "Figures", series: "Series", today: date) -> Chart | None:
    """The last twelve months as bars, fuel on top of jobs; nothing where nothing was paid in them."""
    months, years = spend(series)
    last = _month(today)
    drawn_months = range(last - MONTHS_DRAWN + 1, last + 1)
    sums = [months.get(month, (0, 0)) for month in drawn_months]
    top = max(jobs + fuel for jobs, fuel in sums)
    if not top:
        return None
    jobs, fuel = (sum(each[side] for each in sums) for side in (0, 1))
    facts = {"all": figures.money(jobs + fuel), "jobs": figures.money(jobs), "fuel": figures.money(fuel)}
    told = gettext("%(all)s in the last twelve months: %(jobs)s for jobs (filled), %(fuel)s for fuel (hollow).") % facts
    named = [_named(figures, month) for month in drawn_months]
    scale = Axis(0.0, top * _ROOM, _amounts(figures, top * _ROOM), "")
    return Chart(
        key="spend",
        title=gettext("Spend"),
        description=told,
        x=Axis(-0.5, MONTHS_DRAWN - 0.5, tuple((float(mark), named[mark]) for mark in _MARKS), ""),
        y=scale,
        bars=tuple(bar for place, each in enumerate(sums) for bar in _bars(place, *each)),
        rows=_rows(figures, dict(zip(named, sums, strict=True)), years),
    )


def _named(figures: "Figures", month: int) -> str:
    return figures.month(date(month // 12, month % 12 + 1, 1))


def _amounts(figures: "Figures", top: float) -> tuple[tuple[float, str], ...]:
    return tuple((mark, figures.money(round(mark))) for mark in round_ticks(0.0, top, 5))


def _bars(place: int, jobs: int, fuel: int) -> list[Bar]:
    left, right = place - _HALF_BAR, place + _HALF_BAR
    bars = [Bar(left, right, 0.0, float(jobs), "first")] if jobs else []
    return [*bars, Bar(left, right, float(jobs), float(jobs + fuel), "second")] if fuel else bars


def _rows(figures: "Figures", months: dict[str, tuple[int, int]], years: Sums) -> tuple[tuple[str, ...], ...]:
    head = (gettext("When"), gettext("Jobs"), gettext("Fuel"), gettext("Together"))
    told = [(name, sums) for name, sums in reversed(months.items())]
    told += [(gettext("%(year)s in all") % {"year": year}, sums) for year, sums in sorted(years.items(), reverse=True)]
    return (
        head,
        *((name, *(figures.money(each) for each in (jobs, fuel, jobs + fuel))) for name, (jobs, fuel) in told),
    )
