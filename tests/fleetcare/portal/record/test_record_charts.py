"""What is drawn of a vehicle's record: score, fuel with its rise, spend; in words and as a table too."""

from datetime import date, timedelta
from decimal import Decimal
from typing import Any

import pytest

from fleetcare.fleet.clock import today
from fleetcare.fleet.services.fleets import change_fleet
from fleetcare.fleet.words import Role
from fleetcare.portal.record.charts import charts_of, fuel_chart, score_chart
from fleetcare.portal.record.series import Fill, ScoreThen, Series, series
from fleetcare.portal.record.spend import spend, spend_chart
from fleetcare.portal.web.presenters.figures import Figures
from tests.conftest import Cast
from tests.fleetcare.fleet.given import fill
from tests.fleetcare.portal.markup import parsed, words
from tests.inspections.given import inspect
from tests.scheduling.work_given import closed, job

FIGURES = Figures("EUR", "km", "en")
ON = date(2026, 11, 25)


def tanks(*litres_per_100_km: float, every_km: int = 500, every_days: int = 14) -> tuple[Fill, ...]:
    """Full tanks after equal distances that burn so much."""
    start = ON - timedelta(days=every_days * len(litres_per_100_km))
    first = Fill(start, 40.0, 100_000.0, 6_000, full=True, missed_before=False)
    return first, *(
        Fill(
            start + timedelta(days=every_days * number),
            burnt * every_km / 100,
            100_000.0 + every_km * number,
            6_000,
            full=True,
            missed_before=False,
        )
        for number, burnt in enumerate(litres_per_100_km, 1)
    )


def test_nothing_is_drawn_of_nothing_and_of_too_little() -> None:
    one = ScoreThen(ON, 50.0, 40.0, 60.0)
    assert charts_of(FIGURES, Series((), (), ()), ON) == []
    assert score_chart(FIGURES, (one,)) is None
    assert fuel_chart(FIGURES, tanks(6.5)) is None
    assert spend_chart(FIGURES, Series((), (), ((date(2020, 1, 1), 9_000),)), ON) is None, "long ago"


def test_the_score_is_told_from_its_first_day_to_its_last() -> None:
    scores = tuple(ScoreThen(ON - timedelta(days=days), 90.0 - days, 80.0, 95.0) for days in (60, 30, 0))
    chart = score_chart(FIGURES, scores)
    assert chart is not None
    assert chart.description.startswith("From 30 on Sep 26, 2026 to 90 on Nov 25, 2026")
    assert [row[1] for row in chart.rows] == ["Score", "90", "60", "30"], "the latest first"
    assert len(chart.areas[0]) == 6, "the band goes there and back"


def test_a_lasting_rise_in_fuel_is_told_with_its_day_and_drawn_as_a_level_of_its_own() -> None:
    chart = fuel_chart(FIGURES, tanks(*[6.4, 6.6] * 10, *[7.4, 7.6] * 6))
    assert chart is not None
    assert "Usually 6.5 L/100 km." in chart.description
    assert "It has risen by" in chart.description
    (usual,), (recent,) = ([line for line in chart.lines if line.kind == kind] for kind in ("expected", "limit"))
    assert usual.points[0][1] == pytest.approx(6.5, abs=0.1)
    assert recent.points[0][1] == pytest.approx(7.5, abs=0.15)
    assert usual.points[1][0] == recent.points[0][0], "the one ends where the other begins"
    assert chart.y.low < 6.4 < 7.6 < chart.y.high


def test_steady_fuel_has_one_level_and_no_rise() -> None:
    chart = fuel_chart(FIGURES, tanks(*[6.4, 6.6] * 12))
    assert chart is not None
    assert "risen" not in chart.description
    assert [line.kind for line in chart.lines] == ["measured", "expected"]


def test_spend_adds_up_by_month_and_year() -> None:
    fills = (
        Fill(date(2026, 11, 3), 40, None, 6_000, full=True, missed_before=False),
        Fill(date(2026, 11, 20), 40, None, None, full=True, missed_before=False),
        Fill(date(2025, 12, 31), 40, None, 5_000, full=True, missed_before=False),
    )
    paid = Series((), fills, ((date(2026, 11, 9), 12_000), (date(2026, 1, 2), 3_000), (date(2025, 11, 30), 700)))
    months, years = spend(paid)
    assert [months[year * 12 + month - 1] for year, month in ((2026, 11), (2026, 1), (2025, 12), (2025, 11))] == [
        (12_000, 6_000), (3_000, 0), (0, 5_000), (700, 0),
    ]  # fmt: skip
    assert years == {2025: (700, 5_000), 2026: (15_000, 6_000)}
    chart = spend_chart(FIGURES, paid, ON)
    assert chart is not None
    assert chart.description.startswith("€260 in the last twelve months: €150 for jobs (filled), €110 for fuel")
    assert chart.rows[1] == ("Nov 2026", "€120", "€60", "€180")
    assert chart.rows[-2:] == (("2026 in all", "€150", "€60", "€210"), ("2025 in all", "€7", "€50", "€57"))
    assert len(chart.rows) == 1 + 12 + 2


def test_the_bars_of_a_month_stand_on_each_other() -> None:
    paid = Series((), tanks(6.5)[:1], ((ON, 4_000),))
    chart = spend_chart(FIGURES, paid, ON)
    assert chart is not None
    jobs = next(bar for bar in chart.bars if bar.kind == "first")
    assert (jobs.low, jobs.high) == (0, 4_000)
    fuel = next(bar for bar in chart.bars if bar.kind == "second")
    assert fuel.high - fuel.low == 6_000


def test_the_figures_of_a_vehicle_are_read_in_one_query(cast: Cast, django_assert_num_queries: Any) -> None:
    access, vehicle, on = cast.access, cast.vehicle, today(cast.fleet)
    inspect(access, vehicle, inspected_on=on - timedelta(days=40))
    fill(access, vehicle, filled_on=on - timedelta(days=20), price_minor=7_155, missed_before=True)
    fill(access, vehicle, filled_on=on - timedelta(days=10), shown_km=None, full=False)
    closed(access, job(access, vehicle), shown_km=Decimal(122_000), parts_minor=8_000, labour_minor=500)
    closed(access, job(access, vehicle, "outer-driveshaft-boot.replace"), shown_km=Decimal(122_000))
    with django_assert_num_queries(1):
        read = series(vehicle)
    assert read.jobs == ((on, 8_500),), "a job without any cost said tells nothing"
    first, second = read.fills
    assert (first.litres, first.total_km, first.price_minor, first.full, first.missed_before) == (
        41.5, 121_000.0, 7_155, True, True,
    )  # fmt: skip
    assert (second.total_km, second.price_minor, second.full, second.missed_before) == (None, None, False, False)


def test_each_chart_on_the_page_has_a_title_a_description_and_a_table(cast: Cast, browser_of: Any) -> None:
    access, vehicle, on = cast.access, cast.vehicle, today(cast.fleet)
    for number in range(4):
        fill(
            access, vehicle, filled_on=on - timedelta(days=60 - 14 * number), shown_km=Decimal(120_000 + 600 * number),
            price_minor=7_000,
        )  # fmt: skip
    page = parsed(browser_of(cast).get(f"/fleets/{cast.fleet.pk}/vehicles/{vehicle.pk}/").content)
    drawings = [each for each in page.all("svg") if each.attributes.get("role") == "img"]
    assert len(drawings) == 2, "fuel and spend"
    named = {element.attributes.get("id") for element in page.elements}
    for drawing in drawings:
        assert set(drawing.attributes["aria-labelledby"].split()) <= named
    tables = [words(each.text) for each in page.all("caption")]
    assert tables == ["Fuel", "Spend"]


def test_distances_of_the_table_are_in_the_fleets_unit(cast: Cast, browser_of: Any) -> None:
    change_fleet(cast.access, distance_unit="mi")
    for number in range(3):
        day = today(cast.fleet) - timedelta(days=60 - 14 * number)
        fill(cast.access, cast.vehicle, filled_on=day, shown_km=Decimal("120000") + Decimal("160.9344") * 5 * number)
    page = browser_of(cast, Role.VIEWER).get(f"/fleets/{cast.fleet.pk}/vehicles/{cast.vehicle.pk}/road/")
    assert "500 mi" in page.content.decode()
