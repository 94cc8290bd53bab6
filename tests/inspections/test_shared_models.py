"""Vehicles of one model share what their parts' lives tell: learned by the worker, kept, shown and judged by."""

from datetime import date
from decimal import Decimal
from math import gamma
from typing import Any

import numpy as np
import pytest
from django.utils import timezone

from fleetcare.fleet.models import Fleet, Vehicle
from fleetcare.fleet.words import Role
from fleetcare.support.bell import bell_held
from inspections.catalogue.loader import default_catalogue
from inspections.core.types import FloatArray
from inspections.models import FittedPart, LearnedFactor, LearnedLife
from inspections.services.assessment import judge
from inspections.services.beliefs import fleet_beliefs, model_key
from inspections.services.history import Batch, load_batch
from inspections.services.left import residuals_at
from inspections.services.lives import learn_lives
from inspections.services.shared_models import SharedModels
from tests import factories
from tests.conftest import Cast
from tests.inspections.given import inspect, result
from tests.inspections.kept_fleets import SHAPE, Road, kept_vehicles, renew

PART, POSITION = "battery", ""
ROAD = Road(PART)
LIFE_KM = ROAD.life_km
HORIZON_KM = 10_000.0
UNTIL_KM = 3.2 * LIFE_KM


def workshop(fleet: Fleet, factors: dict[tuple[str, str], float], each: int, seed: int = 1) -> dict[Any, float]:
    """`each` vehicles of every model, their part renewed whenever it fails, until one day; lives are factor x book.

    Returns each vehicle's true chance that its part fails within the horizon after that day.
    """
    rng, chances = np.random.default_rng(seed), {}
    for (make, model), factor in factors.items():
        scale = factor * LIFE_KM / gamma(1.0 + 1.0 / SHAPE)
        vehicles = kept_vehicles(fleet, ROAD, [UNTIL_KM] * each)
        for vehicle in vehicles:
            vehicle.make, vehicle.model = make, model
            ends = np.cumsum(scale * rng.weibull(SHAPE, 20))
            failed = [km for km in ends.tolist() if km < UNTIL_KM]
            renew(vehicle, ROAD, POSITION, failed)
            age = UNTIL_KM - (failed[-1] if failed else 0.0)
            chances[vehicle.pk] = 1.0 - np.exp((age / scale) ** SHAPE - ((age + HORIZON_KM) / scale) ** SHAPE)
        Vehicle.objects.bulk_update(vehicles, ["make", "model"])
    return chances


def judged(fleet: Fleet, ids: list[Any]) -> FloatArray:
    """What the judge says of the chance that each vehicle's part fails within the horizon."""
    batch = load_batch(fleet, ids, ROAD.day(UNTIL_KM))
    rows = np.flatnonzero(batch.cells.slot == default_catalogue().slot_index[PART, POSITION])
    return residuals_at(batch, rows).failure_chance_fraction(np.full(len(rows), HORIZON_KM))


def factor_row(fleet: Fleet, make: str, model: str, **figures: Any) -> LearnedFactor:
    key = model_key(make, model)
    assert key is not None
    given = {
        "make_key": key[0], "model_key": key[1], "make": make, "model": model, "fitted_at": timezone.now(),
        "factor": 0.7, "low": 0.6, "high": 0.8, "lesson": "learned", "vehicles": 6, "records": 80, "ended": 30,
    }  # fmt: skip
    return LearnedFactor.objects.create(fleet=fleet, **{**given, **figures})


def models_answer(client: Any, fleet: Fleet) -> list[dict[str, Any]]:
    answer = client.get(f"/api/v1/fleets/{fleet.pk}/lives/")
    assert answer.status_code == 200
    models: list[dict[str, Any]] = answer.json()["models"]
    return models


HARD, PLAIN, OTHER = ("Arvolo", "Lasto"), ("Arvolo", "Morva"), ("Kestrin", "Tilde")


class TestLearning:
    def test_a_model_that_eats_its_parts_is_forecast_by_itself_and_the_others_as_if_it_were_not_there(
        self, cast: Cast, strangers: Cast, client_of: Any
    ) -> None:
        chances = workshop(cast.fleet, {HARD: 0.7, PLAIN: 1.0, OTHER: 1.0}, each=16)
        nameless = workshop(strangers.fleet, {("", ""): 0.7, ("", " "): 1.0, (" ", ""): 1.0}, each=16)
        assert list(chances.values()) == list(nameless.values())
        learn_lives(cast.fleet.pk)
        learn_lives(strangers.fleet.pk)
        row = LearnedFactor.objects.within(cast.fleet).get(model="Lasto")
        assert row.factor == pytest.approx(0.7, abs=0.08)
        assert row.low < row.factor < row.high < 1.0
        assert (row.lesson, row.vehicles) == ("learned", 16)
        assert row.ended > 48
        others = LearnedFactor.objects.within(cast.fleet).exclude(pk=row.pk)
        assert [each.lesson for each in others] == ["no-difference"] * 2
        assert not LearnedFactor.objects.within(strangers.fleet).exists()
        truth = np.array(list(chances.values()))
        errors = [
            judged(fleet, list(ids)) - truth for fleet, ids in ((cast.fleet, chances), (strangers.fleet, nameless))
        ]
        told, pooled = (
            [float(np.sqrt((each[rows] ** 2).mean())) for rows in (slice(16), slice(16, None))] for each in errors
        )
        assert told[0] < 0.75 * pooled[0]
        assert told[1] < pooled[1]
        shown = {each["model"]: each for each in models_answer(client_of(Role.VIEWER), cast.fleet)}
        assert shown["Lasto"]["used"]
        assert shown["Lasto"]["factor_used"] == shown["Lasto"]["factor"] == round(row.factor, 3)
        assert (shown["Tilde"]["used"], shown["Tilde"]["factor_used"]) == (False, 1.0)
        assert shown["Tilde"]["why"] == "no clear difference from the fleet's other vehicles"

    def test_hardly_any_history_is_shown_with_its_wide_interval_and_not_judged_by(self, cast: Cast, api: Any) -> None:
        workshop(cast.fleet, {PLAIN: 1.0}, each=12)
        for vehicle in kept_vehicles(cast.fleet, ROAD, [0.3 * LIFE_KM] * 2):
            Vehicle.objects.filter(pk=vehicle.pk).update(make=HARD[0], model=HARD[1])
        learn_lives(cast.fleet.pk)
        few = next(each for each in models_answer(api, cast.fleet) if each["model"] == "Lasto")
        assert (few["lesson"], few["why"], few["used"]) == ("too-few-failures", "too few failures to learn from", False)
        assert few["factor"] == pytest.approx(1.0, abs=0.1)
        assert few["interval"]["high"] / few["interval"]["low"] > 1.3
        assert few["rests_on"]["ended"] == 0

    def test_a_fleet_of_unlike_vehicles_learns_no_factor(self, cast: Cast, api: Any) -> None:
        workshop(cast.fleet, {("Arvolo", f"model {number}"): 1.0 for number in range(8)}, each=1)
        assert learn_lives(cast.fleet.pk) > 0
        assert models_answer(api, cast.fleet) == []

    def test_what_was_learned_of_a_model_goes_with_its_vehicles(self, cast: Cast) -> None:
        workshop(cast.fleet, {HARD: 0.7, PLAIN: 1.0}, each=4)
        learn_lives(cast.fleet.pk)
        assert LearnedFactor.objects.within(cast.fleet).count() == 2
        gone = Vehicle.objects.within(cast.fleet).filter(model="Lasto")
        with bell_held():
            FittedPart.objects.within(cast.fleet).filter(vehicle__in=gone).delete()
            gone.update(model="", make="")
        cast.vehicle.standing.revision += 1
        cast.vehicle.standing.save()
        learn_lives(cast.fleet.pk)
        assert [row.model for row in LearnedFactor.objects.within(cast.fleet)] == ["Morva"]


class TestTellingModelsApart:
    @pytest.mark.parametrize(("make", "model"), [("Arvolo", "Lasto"), (" arvolo ", "LASTO"), ("ARVOLO", " Lasto  ")])
    def test_case_and_spaces_do_not_count(self, make: str, model: str) -> None:
        assert model_key(make, model) == ("arvolo", "lasto")

    @pytest.mark.parametrize(("make", "model"), [("", ""), ("Arvolo", ""), ("", "Lasto"), ("  ", "Lasto")])
    def test_where_make_or_model_is_not_known_nothing_is_shared(self, make: str, model: str) -> None:
        assert model_key(make, model) is None

    def test_only_models_of_several_vehicles_are_groups(self, cast: Cast) -> None:
        names = [HARD, PLAIN, ("arvolo", "lasto "), ("", ""), ("", "")]
        vehicles = [factories.vehicle(cast.fleet, make=make, model=model) for make, model in names]
        found = SharedModels.among(vehicles)
        assert found.keys == (("arvolo", "lasto"),)
        assert found.names == (HARD,)
        assert found.of_vehicle.tolist() == [0, -1, 0, -1, -1]

    def test_the_longest_names_fit_however_their_letters_fold(self, cast: Cast) -> None:
        row = factor_row(cast.fleet, "ß" * 60, "ΐ" * 60)
        row.full_clean()


class TestJudgedByTheModel:
    def batch(self, fleet: Fleet, *vehicles: Vehicle) -> Batch:
        return load_batch(fleet, [vehicle.pk for vehicle in vehicles], date(2025, 6, 1))

    def pair(self, cast: Cast) -> tuple[Vehicle, Vehicle]:
        hard, plain = (
            factories.vehicle(cast.fleet, name=model, make=make, model=model, first_used_on=date(2012, 1, 1))
            for make, model in (("arvolo", "LASTO"), PLAIN)
        )
        check = result("front-brake-pads.thickness", "front-left", measurement={"value": 6.0, "unit": "mm"})
        with bell_held():
            for vehicle in (hard, plain):
                inspect(cast.access, vehicle, check, inspected_on=date(2025, 5, 1), shown_km=Decimal(180_000))
        return hard, plain

    def test_it_shortens_the_forecasts_of_that_models_vehicles_only_and_is_in_their_digest(self, cast: Cast) -> None:
        hard, plain = self.pair(cast)
        before = judge(self.batch(cast.fleet, hard, plain))
        factor_row(cast.fleet, *HARD)
        after = judge(self.batch(cast.fleet, hard, plain))
        assert after.batch.life_factor.tolist() == [0.7, 1.0]
        assert after.next_year_minor[0] > 1.1 * before.next_year_minor[0]
        assert after.next_year_minor[1] == before.next_year_minor[1]
        assert after.digests[0] != before.digests[0]
        assert after.digests[1] == before.digests[1]

    def test_measured_parts_wear_out_sooner_too(self, cast: Cast) -> None:
        hard, plain = self.pair(cast)
        before = self.batch(cast.fleet, hard, plain).measured.forecast.limit_in_km.median
        factor_row(cast.fleet, *HARD)
        after = self.batch(cast.fleet, hard, plain).measured.forecast.limit_in_km.median
        assert after[0] < 0.97 * before[0]
        assert after[1] == before[1]

    @pytest.mark.parametrize("lesson", ["no-difference", "too-few-failures", "nothing-to-compare", "implausible"])
    def test_a_factor_that_the_record_does_not_bear_out_changes_nothing(self, cast: Cast, lesson: str) -> None:
        hard, _ = self.pair(cast)
        before = judge(self.batch(cast.fleet, hard))
        factor_row(cast.fleet, *HARD, lesson=lesson)
        assert judge(self.batch(cast.fleet, hard)).digests == before.digests

    def test_no_fleet_is_judged_by_anothers_models(self, cast: Cast, strangers: Cast) -> None:
        factor_row(strangers.fleet, *HARD)
        hard, _ = self.pair(cast)
        assert self.batch(cast.fleet, hard).life_factor.tolist() == [1.0]
        assert fleet_beliefs(cast.fleet).factors == {}

    def test_the_explanation_tells_the_life_with_its_models_factor(self, cast: Cast, api: Any) -> None:
        hard, plain = self.pair(cast)
        factor_row(cast.fleet, *HARD)
        lives = []
        for vehicle in (hard, plain):
            url = f"/api/v1/fleets/{cast.fleet.pk}/vehicles/{vehicle.pk}/condition/explain/?part={PART}"
            lives.append(api.get(url).json()["life"])
        assert [each["model_factor"] for each in lives] == [0.7, 1.0]
        assert lives[0]["life_km"] == pytest.approx(0.7 * lives[1]["life_km"])

    @pytest.mark.parametrize("count", [0, 30])
    def test_beliefs_are_one_query_however_much_was_learned(
        self, cast: Cast, count: int, django_assert_num_queries: Any
    ) -> None:
        for number, part_key in enumerate(list(default_catalogue().parts)[:count]):
            factor_row(cast.fleet, "Arvolo", f"model {number}")
            LearnedLife.objects.create(
                fleet=cast.fleet, part_key=part_key, fitted_at=timezone.now(), life_km=5e4, low_km=4e4, high_km=6e4,
                life_cv=0.3, factor=0.5, lesson="learned", failed=5, worn_out=0, renewed_early=0, in_service=9,
                reason_unknown=0, date_unknown=2,
            )  # fmt: skip
        with django_assert_num_queries(1):
            beliefs = fleet_beliefs(cast.fleet)
        assert len(beliefs.factors) == count
