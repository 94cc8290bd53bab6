"""A vehicle's past, played through: parts wear, somebody looks, some of it is put right, some of it is written down."""

from collections.abc import Iterable, Iterator
from datetime import date, timedelta
from random import Random
from typing import Any

from fleetcare.kernel.dates import DAYS_PER_YEAR
from fleetcare.kernel.grades import Grade
from fleetcare.portal.demo.bought import described
from fleetcare.portal.demo.chance import drawn, seeded
from fleetcare.portal.demo.events import Event, Look, Reading, Renewal, Work, in_order
from fleetcare.portal.demo.fixtures import DemoFleet, DemoVehicle
from fleetcare.portal.demo.fuelling import fills
from fleetcare.portal.demo.habits import HABITS
from fleetcare.portal.demo.hidden import FittedTruth, new_part, part_clock_km, used_part
from fleetcare.portal.demo.looking import codes, examined, not_examined
from fleetcare.portal.demo.road import Odometer, Road
from fleetcare.portal.demo.servicing import services
from inspections.catalogue.books import positions_covered, renewing_job
from inspections.catalogue.catalogue import ApplicableCheck, Catalogue, Slot
from inspections.catalogue.grading import grade_result
from inspections.catalogue.vocabularies import FULL_SHEET

_DAYS_BETWEEN_READINGS = 270
_SINGLE_LEFT_OUT = 0.01
_NOTES = ("", "", "", "Done on the drive, light rain.", "On the lift, wheels off.", "Two of us, torch and mirror.")
_UNSEEN_FOR_YEARS = 2.6
_FULL_IN_A_WORKSHOP = 0.45
_HOURS_TAKEN, _PARTS_PAID = (0.8, 1.5), (0.75, 1.3)
"""Beside what the catalogue thinks usual: a job seldom goes quicker than the book, and often slower."""


def history(catalogue: Catalogue, fleet: DemoFleet, vehicle: DemoVehicle, today: date) -> tuple[Event, ...]:
    """Everything that was written down about a vehicle before `today`, in order; the same for the same arguments."""
    return _Past(catalogue, fleet, vehicle, today).played()


class _Past:
    """One vehicle's story while it is being played."""

    def __init__(self, catalogue: Catalogue, fleet: DemoFleet, vehicle: DemoVehicle, today: date) -> None:
        self.catalogue, self.fleet, self.vehicle, self.today = catalogue, fleet, vehicle, today
        self.habits = HABITS[vehicle.character]
        self.road = Road(vehicle)
        self.since = max(vehicle.first_used_on, _years_before(today, vehicle.kept_years))
        replaced = vehicle.odometer_replaced_years_ago
        self.odometer = Odometer(
            self.road, fleet.distance_unit, None if replaced is None else _years_before(today, replaced)
        )
        self.rng: Random = seeded(vehicle.name)
        self.events: list[Event] = []
        slots = [catalogue.slots[row] for row in catalogue.applicable_slots(vehicle.traits)]
        self.fitted = {slot: self._found(slot) for slot in slots}

    def _found(self, slot: Slot) -> FittedTruth:
        part = self.catalogue.parts[slot.part_key]
        rng = seeded(self.vehicle.name, slot.part_key, slot.position)
        return used_part(part, self.habits.pace, self.habits.renewed_at, self.road, self.since, rng)

    def played(self) -> tuple[Event, ...]:
        """The whole story."""
        before, days = self.since, self._days_of_looks()
        self._read_odometer()
        for number, on in enumerate(days):
            self._fail(before, on)
            last = on == days[-1]
            if last and self.vehicle.character == "dangerous":
                self._endanger(on)
            found = self._look(on, FULL_SHEET if last and self._ends_with_everything else self._sheet(number))
            until = self.today if last else days[number + 1]
            self._remedy(found, on, until, sparing=last and self.vehicle.character == "dangerous")
            before = on
        vehicle, odometer, since, today = self.vehicle, self.odometer, self.since, self.today
        self.events += fills(vehicle, self.road, odometer, since, today, self.fleet.litre_minor)
        busy = {event.on for event in self.events if isinstance(event, Work)}
        self.events += services(vehicle, self.fleet.services, odometer, since, today, busy)
        return in_order(self.events)

    @property
    def _looks_properly(self) -> bool:
        return self.vehicle.character != "unseen"

    @property
    def _ends_with_everything(self) -> bool:
        """A workshop is not paid for a full look at every customer's vehicle."""
        thorough = self.fleet.kind != "workshop" or self.vehicle.character == "dangerous"
        return self._looks_properly and (thorough or self.rng.random() < _FULL_IN_A_WORKSHOP)

    def _days_of_looks(self) -> list[date]:
        end = self.today - timedelta(days=self.rng.randint(9, 85))
        if not self._looks_properly:
            return [max(self.since + timedelta(days=5), _years_before(self.today, _UNSEEN_FOR_YEARS))]
        gap = DAYS_PER_YEAR / self.habits.looks_per_year
        days = [end]
        while (earlier := days[0] - timedelta(days=int(gap * self.rng.uniform(0.7, 1.3)))) > self.since:
            days.insert(0, earlier)
        if len(days) == 1:
            days.insert(0, self.since + timedelta(days=self.rng.randint(1, 20)))
        return days

    def _sheet(self, number: int) -> str:
        wanted = drawn(self.rng, self.habits.sheets)
        if self.fleet.kind == "workshop" and self._looks_properly:
            # Customers come with the vehicle for more than a walk round it.
            wanted = {"five-minute": "before-trip"}.get(wanted, wanted)
        elif number == 0 and self._looks_properly and self.since > self.vehicle.first_used_on:
            wanted = "before-buying"
        return wanted if wanted in self.catalogue.sheets else FULL_SHEET

    def _clock_km(self, slot: Slot, on: date) -> float:
        return part_clock_km(self.catalogue.parts[slot.part_key], self.road, on)

    def _read_odometer(self) -> None:
        on = self.since
        while on < self.today:
            self.events.append(Reading(on, self.odometer.shown_km(on)))
            on += timedelta(days=int(_DAYS_BETWEEN_READINGS * self.rng.uniform(0.6, 1.5)))
        replaced_on = self.odometer.replaced_on
        if replaced_on is not None:
            old = self.odometer.last_day_of_old
            self.events.append(Reading(old, self.odometer.shown_km(old)))
            self.events.append(Reading(replaced_on, self.odometer.shown_km(replaced_on), replacement=True))

    def _fail(self, before: date, until: date) -> None:
        """What gave up between two looks was renewed on the spot."""
        for slot in list(self.fitted):
            truth = self.fitted[slot]
            if truth.has_failed(self._clock_km(slot, until)):
                day = self._day_of_failure(slot, truth, max(before, truth.fitted_on), until)
                self._renew(slot, day, "failed")

    def _day_of_failure(self, slot: Slot, truth: FittedTruth, sound: date, failed: date) -> date:
        low, high = sound.toordinal(), failed.toordinal()
        while high - low > 1:
            middle = (low + high) // 2
            if truth.has_failed(self._clock_km(slot, date.fromordinal(middle))):
                high = middle
            else:
                low = middle
        return date.fromordinal(high)

    def _renew(self, slot: Slot, on: date, removal: str, *, memorable: bool = False, as_job: bool = False) -> None:
        """Renews what the part's usual job covers, and writes it down if somebody thinks of it; `as_job`: as a job."""
        entry = renewing_job(self.catalogue, slot.part_key)
        covered = positions_covered(entry, slot.position)
        recorded = memorable or self.rng.random() < self.habits.recorded
        description = described(self.catalogue, entry, self.rng)
        here = [position for position in covered if Slot(slot.part_key, position) in self.fitted]
        renewed = [position for position in here if self.fitted[Slot(slot.part_key, position)].fitted_on < on]
        whole = as_job and renewed == here
        if whole and recorded:
            self.events.append(self._work(entry.key, renewed, on, removal, description))
        for position in renewed:
            other = Slot(slot.part_key, position)
            part, clock_km = self.catalogue.parts[slot.part_key], self._clock_km(other, on)
            self.fitted[other] = new_part(part, self.habits.pace, on, clock_km, self.rng)
            if recorded and not whole:
                why = removal if position == slot.position else "renewed-early"
                shown_km = self.odometer.shown_km(on)
                self.events.append(Renewal(on, shown_km, slot.part_key, position, why, description))

    def _work(self, job_key: str, positions: list[str], on: date, removal: str, description: str) -> Work:
        rng = seeded(self.vehicle.name, job_key, on.isoformat())
        hours_factor, parts_factor = rng.uniform(*_HOURS_TAKEN), rng.uniform(*_PARTS_PAID)
        shown_km, places = self.odometer.shown_km(on), tuple(filter(None, positions))
        return Work(on, shown_km, job_key, places, removal, description, hours_factor, parts_factor)

    def _endanger(self, on: date) -> None:
        """Lets one safety part that can be seen be found dangerous."""
        seen = {found.slot for found in self.catalogue.applicable_checks(self.vehicle.traits)}
        slots = [slot for slot in self.fitted if self.catalogue.slot_index[slot.part_key, slot.position] in seen]
        visible = [slot for slot in slots if self._can_be_dangerous(self.fitted[slot])]
        for slot in self.rng.sample(visible, min(2, len(visible))):
            truth, clock_km = self.fitted[slot], self._clock_km(slot, on)
            used_km = truth.life_km - 0.05 * truth.sign_km
            self.fitted[slot] = FittedTruth(
                truth.part,
                truth.fitted_on,
                clock_km - used_km,
                truth.life_km,
                truth.sign_km,
                truth.telling,
                truth.taste,
            )

    def _can_be_dangerous(self, truth: FittedTruth) -> bool:
        signs = (sign.grade for check in truth.part.checks if check.key in truth.telling for sign in check.observations)
        return truth.part.safety and "dangerous" in signs

    def _look(self, on: date, sheet: str) -> list[tuple[Grade, Slot]]:
        """One inspection; returns what was found wrong."""
        checks = self.catalogue.applicable_checks(self.vehicle.traits, sheet)
        rng = seeded(self.vehicle.name, "look", on.isoformat())
        closed = self._closed_stations(checks, rng)
        results, wrong = [], []
        for found in checks:
            result = self._result(found, on, closed, rng)
            results.append({"check": found.key, "position": found.position, **result})
            wrong.append((self._seen(found, result), self.catalogue.slots[found.slot]))
        trouble = tuple(dict.fromkeys(codes(self.catalogue.with_defaults(self.vehicle.traits)["fuel"], rng)))
        inspector, note = rng.choice(self.fleet.inspectors), rng.choice(_NOTES)
        shown_km = self.odometer.shown_km(on)
        self.events.append(Look(on, shown_km, sheet, inspector, note, trouble, tuple(results)))
        return [(grade, slot) for grade, slot in dict.fromkeys(wrong) if grade]

    def _closed_stations(self, checks: Iterable[ApplicableCheck], rng: Random) -> dict[str, str]:
        stations = dict.fromkeys(self.catalogue.checks[found.key].check.station for found in checks)
        return {each: not_examined(each, rng) for each in stations if rng.random() < self.habits.left_out}

    def _result(self, found: ApplicableCheck, on: date, closed: dict[str, str], rng: Random) -> dict[str, Any]:
        check, slot = self.catalogue.checks[found.key].check, self.catalogue.slots[found.slot]
        if check.station in closed:
            return {"not_examined": closed[check.station]}
        if rng.random() < _SINGLE_LEFT_OUT:
            return {"not_examined": not_examined(check.station, rng)}
        return examined(check, self.fitted[slot], self._clock_km(slot, on), self.fleet.limit_scheme, rng)

    def _seen(self, found: ApplicableCheck, result: dict[str, Any]) -> Grade:
        """How bad it looks from what was written down."""
        said = Grade.from_word(result.get("grade", Grade.SOUND.word))
        value = result["measurement"]["value"] if "measurement" in result else None
        check, scheme = self.catalogue.checks[found.key].check, self.fleet.limit_scheme
        return max(said, grade_result(check, value, result.get("observations", ()), scheme))

    def _remedy(self, found: list[tuple[Grade, Slot]], on: date, until: date, *, sparing: bool) -> None:
        """After a look the worst is put right, on one or two days; `sparing` leaves the dangerous ones for now."""
        worst_first = sorted(found, key=lambda item: (-item[0], not self.catalogue.parts[item[1].part_key].safety))
        days = list(_soon_after(on, until, self.rng))
        jobs = 0
        for grade, slot in worst_first:
            wanted = self.rng.random() < self.habits.remedy[grade] and not (sparing and grade == Grade.DANGEROUS)
            if not days or not wanted or (jobs >= self.habits.most_jobs and grade < Grade.DANGEROUS):
                continue
            jobs += 1
            why = "worn-out" if grade > Grade.MINOR else "renewed-early"
            self._renew(slot, self.rng.choice(days), why, memorable=grade == Grade.DANGEROUS, as_job=True)


def _soon_after(on: date, until: date, rng: Random) -> Iterator[date]:
    """The one or two days on which work is done after a look."""
    for days in (rng.randint(2, 12), rng.randint(13, 40)):
        day = on + timedelta(days=days)
        if day < until:
            yield day


def _years_before(today: date, years: float) -> date:
    return today - timedelta(days=round(years * DAYS_PER_YEAR))
