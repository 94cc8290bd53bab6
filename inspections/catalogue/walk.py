"""The way round a vehicle: which checks, where, in which order, with what to record and what to beware of."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from inspections.catalogue.catalogue import ApplicableCheck, Catalogue, PartCheck
from inspections.catalogue.grading import governing_limit
from inspections.catalogue.positions import AXLES, CORNERS, axle_of, working_corner
from inspections.catalogue.schema import Caution, Measurement, Observation, Station
from inspections.catalogue.vocabularies import FULL_SHEET


@dataclass(frozen=True, slots=True)
class Reading:
    """The figure to record, with the limit that governs under the walk's scheme of rules."""

    unit: str
    direction: str
    new: float
    minor: float
    limit: float
    limit_source: str
    dangerous: float | None
    least: float
    most: float


@dataclass(frozen=True, slots=True)
class WalkCheck:
    """One check at one position: what to do and what to write down."""

    check: str
    part: str
    system: str
    title: str
    part_title: str
    position: str
    method: str
    tool: str
    minutes: float
    cautions: tuple[Caution, ...]
    observations: tuple[Observation, ...]
    measurement: Reading | None
    slot: int
    source: str
    eu_item: str | None


@dataclass(frozen=True, slots=True)
class WalkStation:
    """One place to stand, with the checks done there. `station` is "raised-corner-front-left" and the like."""

    station: str
    title: str
    stance: str
    position: str
    cautions: tuple[Caution, ...]
    minutes: float
    checks: tuple[WalkCheck, ...]


@dataclass(frozen=True, slots=True)
class Walk:
    """A sheet's checks that apply to one vehicle, station by station. Minutes hold setting up and checks."""

    sheet: str
    scheme: str
    stations: tuple[WalkStation, ...]
    minutes: float


@dataclass(frozen=True, slots=True)
class _Stop:
    station: Station
    corner: str

    @property
    def key(self) -> str:
        return f"{self.station.key}-{self.corner}" if self.corner else self.station.key

    @property
    def end(self) -> str:
        """The end of the vehicle that is off the ground here."""
        return axle_of(self.corner) if self.corner else self.station.raises


def walk(catalogue: Catalogue, traits: Mapping[str, str], sheet: str = FULL_SHEET, scheme: str = "eu") -> Walk:
    """The walk of a sheet for a vehicle of these traits, limits under a scheme of rules ("eu", "uk", "us", "trade").

    Stations without a check that applies are left out. Raises TraitError for the traits, KeyError for the sheet.
    """
    by_stop: dict[str, list[ApplicableCheck]] = {}
    for found in catalogue.applicable_checks(traits, sheet):
        station = catalogue.stations[catalogue.checks[found.key].check.station]
        corner = working_corner(found.position) if station.per == "corner" else ""
        by_stop.setdefault(_Stop(station, corner).key, []).append(found)
    stops = [stop for stop in _stops(catalogue.stations.values()) if stop.key in by_stop]
    stations = tuple(_walk_station(catalogue, stop, by_stop[stop.key], scheme) for stop in stops)
    return Walk(sheet, scheme, stations, sum(station.minutes for station in stations))


def stop_order(catalogue: Catalogue) -> tuple[str, ...]:
    """Every place of the full walk, corners spelled out, in the order they are visited."""
    return tuple(stop.key for stop in _stops(catalogue.stations.values()))


def _stops(stations: Iterable[Station]) -> list[_Stop]:
    """The stations with corners spelled out, in an order that lifts each end of the vehicle once.

    Those on the ground keep the order of the vocabulary, before and after the raised ones. The raised ones go end by
    end: both front corners and what is looked at under the raised front (and between the axles), then both rear
    corners and underneath the rear. Taking all corners first and lying underneath afterwards would lift an end twice.
    """
    ordered = list(stations)
    raised = [index for index, station in enumerate(ordered) if station.raises != "none"]
    if not raised:
        return [_Stop(station, "") for station in ordered]
    before = [station for station in ordered[: raised[0]] if station.raises == "none"]
    after = [station for station in ordered[raised[0] :] if station.raises == "none"]
    lifted = [stop for index in raised for stop in _expanded(ordered[index])]
    return [
        *(_Stop(station, "") for station in before),
        *(stop for end in AXLES for stop in lifted if _served(stop) == end),
        *(_Stop(station, "") for station in after),
    ]


def _expanded(station: Station) -> list[_Stop]:
    return [_Stop(station, corner) for corner in CORNERS] if station.per == "corner" else [_Stop(station, "")]


def _served(stop: _Stop) -> str:
    """The lift that serves a stop; what either end serves goes with the front, which is up first."""
    return "rear" if stop.end == "rear" else "front"


def _walk_station(catalogue: Catalogue, stop: _Stop, found: list[ApplicableCheck], scheme: str) -> WalkStation:
    checks = tuple(_walk_check(catalogue, each, scheme) for each in found)
    cautions = [*stop.station.cautions, *(caution.key for check in checks for caution in check.cautions)]
    place = f", {stop.corner.replace('-', ' ')}" if stop.corner else ""
    return WalkStation(
        station=stop.key,
        title=f"{stop.station.title}{place}",
        stance=stop.station.stance,
        position=stop.corner,
        cautions=tuple(catalogue.cautions[key] for key in dict.fromkeys(cautions)),
        minutes=stop.station.setup_minutes + sum(check.minutes for check in checks),
        checks=checks,
    )


def _walk_check(catalogue: Catalogue, found: ApplicableCheck, scheme: str) -> WalkCheck:
    entry: PartCheck = catalogue.checks[found.key]
    check = entry.check
    return WalkCheck(
        check=found.key,
        part=entry.part.key,
        system=catalogue.system_of_part[entry.part.key],
        title=check.title,
        part_title=entry.part.title,
        position=found.position,
        method=check.method,
        tool=check.tool,
        minutes=check.minutes,
        cautions=tuple(catalogue.cautions[key] for key in check.cautions),
        observations=check.observations,
        measurement=_reading(check.measurement, scheme) if check.measurement else None,
        slot=found.slot,
        source=check.source,
        eu_item=check.eu_item,
    )


def _reading(measurement: Measurement, scheme: str) -> Reading:
    limit = governing_limit(measurement, scheme)
    return Reading(
        unit=measurement.unit,
        direction=measurement.direction,
        new=measurement.new,
        minor=measurement.minor,
        limit=limit.value,
        limit_source=limit.source,
        dangerous=measurement.dangerous,
        least=measurement.least,
        most=measurement.most,
    )
