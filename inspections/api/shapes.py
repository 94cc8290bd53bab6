"""How inspections, findings, parts and the walk look as JSON."""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING, Any

from fleetcare.fleet.api.shapes import number
from fleetcare.kernel.grades import Grade
from inspections.catalogue.catalogue import Catalogue
from inspections.catalogue.loader import default_catalogue
from inspections.catalogue.walk import Reading, Walk, WalkCheck, WalkStation

if TYPE_CHECKING:
    from inspections.models import Finding, FittedPart, Inspection, Result, ScorePoint

Json = dict[str, Any]


def title_of(part: str, check: str) -> str:
    """The part and what is checked of it, the part's name once."""
    return check if check.lower().startswith(part.lower()) else f"{part}: {check}"


def result_json(result: Result, catalogue: Catalogue) -> Json:
    body: Json = {
        "id": result.pk,
        "check": result.check_key,
        "position": result.position or None,
        "same_as_last": result.same_as_last,
    }
    if result.grade is None:
        return {**body, "not_examined": result.not_examined, "note": result.note}
    body["grade"] = Grade(result.grade).word
    if result.value is not None:
        measured = catalogue.checks[result.check_key].check.measurement
        body["measurement"] = {"value": result.value, "unit": measured.unit if measured else ""}
    return {**body, "observations": result.observations, "note": result.note}


def inspection_json(inspection: Inspection, results: Iterable[Result] | None = None) -> Json:
    """Without results where they are not asked for (lists)."""
    body: Json = {
        "id": inspection.pk,
        "inspected_on": inspection.inspected_on,
        "odometer_km": number(inspection.reading.shown_km),
        "sheet": inspection.sheet,
        "inspector": inspection.inspector,
        "note": inspection.note,
        "trouble_codes": inspection.trouble_codes,
        "state": inspection.state,
        "completed_at": inspection.completed_at,
    }
    if results is not None:
        catalogue = default_catalogue()
        body["results"] = [result_json(result, catalogue) for result in results]
    return body


def finding_json(finding: Finding) -> Json:
    catalogue = default_catalogue()
    entry = catalogue.checks[finding.check_key]
    return {
        "id": finding.pk,
        "check": finding.check_key,
        "part": finding.part_key,
        "title": title_of(entry.part.title, entry.check.title),
        "position": finding.position or None,
        "grade": Grade(finding.grade).word,
        "safety": entry.part.safety,
        "opened_on": finding.opened_on,
        "seen_on": finding.seen_on,
        "seen_in": finding.seen_in_id,
        "state": "closed" if finding.closed_on else "open",
        "closed_on": finding.closed_on,
        "closed_because": finding.closed_because,
        "deferred_until": finding.deferred_until,
        "deferred_because": finding.deferred_because,
    }


def part_json(part_key: str, position: str, fitted: FittedPart | None) -> Json:
    """A slot of the vehicle with what is fitted there; as bought where nothing was recorded."""
    entry = default_catalogue().parts[part_key]
    known = fitted is not None and fitted.fitted_on is not None
    return {
        "part": part_key,
        "title": entry.title,
        "position": position or None,
        "safety": entry.safety,
        "history": "recorded" if known else "as bought, history unknown",
        "fitted_on": fitted.fitted_on if fitted else None,
        "fitted_total_km": number(fitted.fitted_total_km) if fitted else None,
        "description": fitted.description if fitted else "",
        "part_number": fitted.part_number if fitted else "",
    }


def fitted_json(fitted: FittedPart) -> Json:
    """One recorded part with its end, if it has come off."""
    return {
        **part_json(fitted.part_key, fitted.position, fitted),
        "id": fitted.pk,
        "removed_on": fitted.removed_on,
        "removed_total_km": number(fitted.removed_total_km),
        "removal": fitted.removal or None,
    }


def walk_json(found: Walk) -> Json:
    return {
        "sheet": found.sheet,
        "minutes": round(found.minutes, 1),
        "stations": [_station(station) for station in found.stations],
    }


def _station(station: WalkStation) -> Json:
    return {
        "station": station.station,
        "title": station.title,
        "stance": station.stance,
        "cautions": [caution.text for caution in station.cautions],
        "minutes": round(station.minutes, 1),
        "checks": [_walk_check(check) for check in station.checks],
    }


def _walk_check(check: WalkCheck) -> Json:
    record: Json = {"observations": [_observation(seen) for seen in check.observations]}
    if check.measurement is not None:
        record["measurement"] = _measurement(check.measurement)
    return {
        "check": check.check,
        "part": check.part,
        "system": check.system,
        "title": title_of(check.part_title, check.title),
        "position": check.position or None,
        "method": check.method,
        "tool": check.tool,
        "minutes": check.minutes,
        "cautions": [caution.text for caution in check.cautions],
        "record": record,
        "source": check.source,
    }


def _observation(seen: Any) -> Json:
    return {"key": seen.key, "title": seen.title, "grade": seen.grade}


def _measurement(reading: Reading) -> Json:
    return {
        "unit": reading.unit,
        "direction": reading.direction,
        "new": reading.new,
        "minor": reading.minor,
        "limit": reading.limit,
        "limit_source": reading.limit_source,
        "dangerous": reading.dangerous,
        "least": reading.least,
        "most": reading.most,
    }


def score_point_json(point: ScorePoint) -> Json:
    return {
        "as_of": point.as_of,
        "score": round(point.score, 1),
        "low": round(point.score_low, 1),
        "high": round(point.score_high, 1),
        "coverage_fraction": round(point.coverage_fraction, 3),
    }
