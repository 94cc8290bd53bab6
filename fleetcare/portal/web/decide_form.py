"""The form of the decide page as a body of the API, and what was typed with its faults."""

from collections.abc import Iterable, Mapping
from datetime import date, timedelta
from typing import Any

from fleetcare.kernel.errors import Fault
from fleetcare.portal.web.presenters import words
from fleetcare.portal.web.typed import number as told_number
from fleetcare.portal.web.typed import ungrouped

VISITS = 6
FIRST_VISITS = 2
"""So many rows of visits are spread out; the others unfold."""
PEOPLE = 4
WORKING_DAYS = 5
_FIELDS = ("date", "hours", "budget", "stands", "lift")
_PERSON_FIELDS = ("person", "person-hours", "hardest", "licensed")


def body_of(form: Any, currency: str) -> dict[str, Any]:
    """The question that a filled form asks: rows without a date are no visits."""
    people = [each for each in (_person(form, n) for n in range(1, PEOPLE + 1)) if each]
    visits = [_visit(form, n, currency, people) for n in _used(form)]
    return {"vehicles": form.getlist("vehicle"), "visits": visits, "carry_over": form.get("carry_over") == "on"}


def _used(form: Any) -> list[int]:
    return [n for n in range(1, VISITS + 1) if form.get(f"date-{n}")]


def _visit(form: Any, number: int, currency: str, people: list[dict[str, Any]]) -> dict[str, Any]:
    given = {name: form.get(f"{name}-{number}", "").strip() for name in _FIELDS}
    amount = ungrouped(given["budget"]) or "0"
    visit: dict[str, Any] = {
        "date": given["date"],
        "hours": told_number(given["hours"]),
        "budget": {"amount": amount, "currency": currency},
    }
    for name in ("stands", "lift"):
        if given[name]:
            visit[f"{name}_hours"] = told_number(given[name])
    return {**visit, "people": people} if people else visit


def _person(form: Any, number: int) -> dict[str, Any] | None:
    name = form.get(f"person-{number}", "").strip()
    if not name:
        return None
    skills = [f"difficulty-{form.get(f'hardest-{number}') or 5}"]
    if form.get(f"licensed-{number}") == "on":
        skills.append("licensed")
    return {"name": name, "hours": told_number(form.get(f"person-hours-{number}", "")), "skills": skills}


def week_of(form: Any, on: date) -> Any:
    """The form with the next Monday to Friday in its rows, each like the first."""
    filled = form.copy()
    monday = on + timedelta(days=7 - on.weekday())
    for number in range(1, WORKING_DAYS + 1):
        filled[f"date-{number}"] = (monday + timedelta(days=number - 1)).isoformat()
        for name in _FIELDS[1:]:
            filled[f"{name}-{number}"] = form.get(f"{name}-1", "")
    return filled


def rows_shown(form: Mapping[str, str], faults: Iterable[Fault], on: date, count: int) -> list[dict[str, Any]]:
    """The rows of visits as they were typed, each with its faults; at first one Saturday to come."""
    used = _used(form)
    saturday = on + timedelta(days=(5 - on.weekday()) % 7 or 7)
    rows = []
    for number in range(1, count + 1):
        given = {name: form.get(f"{name}-{number}", "") for name in _FIELDS}
        if not form and number == 1:
            given |= {"date": saturday.isoformat(), "hours": "6", "budget": "300"}
        place = f"/visits/{used.index(number)}/" if number in used else "none"
        mine = [words.told(fault.detail) for fault in faults if fault.pointer.startswith(place)]
        rows.append({"number": number, **given, "faults": mine})
    return rows


def people_shown(form: Mapping[str, str]) -> list[dict[str, Any]]:
    """The rows of people as they were typed."""
    rows = []
    for number in range(1, PEOPLE + 1):
        name, hours, hardest, licensed = (form.get(f"{field}-{number}", "") for field in _PERSON_FIELDS)
        rows.append(
            {
                "number": number,
                "name": name,
                "hours": hours or "8",
                "hardest": hardest or "5",
                "licensed": licensed == "on",
            }
        )
    return rows
