"""A table from elsewhere: looked at first, stored only when everything is understood and somebody said so."""

import uuid
from typing import Any

from fleetcare.fleet.access import Access
from fleetcare.fleet.words import Role
from fleetcare.kernel.errors import Conflict
from fleetcare.portal.exchange.kinds import Kind, guessed_mapping, kinds
from fleetcare.portal.exchange.parsing import Options, Parsed, RowFault, check_mapping, parsed
from fleetcare.portal.exchange.planning import Plan, planned_rows, planned_vehicles
from fleetcare.portal.exchange.storing import store_plan
from fleetcare.portal.exchange.tables import EXACT, Table, read_table
from fleetcare.portal.exchange.values import DAY_ORDERS, DECIMALS, Answer

Json = dict[str, Any]
SAMPLE_ROWS = 3
MOST_FAULTS_TOLD = 1_000


def import_table(access: Access, data: bytes, given: Json) -> Json:
    """Checks a table and, where `given["store"]` says so, stores what is new. Planners and owners.

    `given`: what (a kind), mapping, decimal, day_order, distance_unit, volume_unit, vehicle, store, skip_bad_rows.
    Returns how the file was read and every fault by row. Storing is all or nothing: it raises Conflict while a
    question is open, or rows are wrong and `skip_bad_rows` does not say to leave them out.
    """
    access.require(Role.PLANNER)
    kind = kinds()[given["what"]]
    table = read_table(data)
    options = _options(access, kind, table, given)
    fixed = uuid.UUID(given["vehicle"]) if given.get("vehicle") else None
    if given.get("mapping") is not None or given.get("store"):
        check_mapping(kind, table, options.mapping, vehicle_given=fixed is not None)
    missing = _missing(kind, options, fixed)
    found = Parsed(Answer(None, "not needed", ""), Answer(None, "not needed", ""))
    plan = Plan()
    if not missing:
        found = parsed(kind, table, options)
        plan = _plan(access, kind, found, options, fixed)
    faults = sorted([*found.faults, *plan.faults], key=lambda fault: fault.row)
    stored = bool(given.get("store"))
    if stored:
        _require_clear(found, faults, skip=bool(given.get("skip_bad_rows")))
        store_plan(access, kind.key, plan)
    return {
        **_reading(kind, table, options, missing),
        "questions": [_question(name, getattr(found, name)) for name in found.questions],
        "told": _told(found),
        "rows": len(table.rows),
        "new": len(plan.new),
        "repeated": plan.repeated,
        "bad_rows": len({fault.row for fault in faults}),
        "faults": [fault.as_json() for fault in faults[:MOST_FAULTS_TOLD]],
        "stored": stored,
    }


def _options(access: Access, kind: Kind, table: Table, given: Json) -> Options:
    mapping = given.get("mapping")
    return Options(
        mapping=guessed_mapping(kind, table.columns) if mapping is None else mapping,
        decimal=given.get("decimal"),
        day_order=given.get("day_order"),
        distance_unit=given.get("distance_unit") or access.fleet.distance_unit,
        volume_unit=given.get("volume_unit") or "L",
        currency=access.fleet.currency,
    )


def _missing(kind: Kind, options: Options, fixed: uuid.UUID | None) -> list[str]:
    """Fields that no column says yet."""
    needed = [each.name for each in kind.fields if each.required or (each.name == "vehicle" and fixed is None)]
    return [name for name in needed if name not in options.mapping]


def _plan(access: Access, kind: Kind, found: Parsed, options: Options, fixed: uuid.UUID | None) -> Plan:
    if found.questions:
        return Plan()
    if kind.key == "vehicles":
        return planned_vehicles(access, found.records, options)
    return planned_rows(access, kind.key, found.records, options, fixed)


def _require_clear(found: Parsed, faults: list[RowFault], *, skip: bool) -> None:
    if found.questions:
        raise Conflict("Answer the open questions first.", code="open-questions")
    if faults and not skip:
        count = len({fault.row for fault in faults})
        raise Conflict(f"{count} rows are wrong; correct them, or say that they are left out.", code="bad-rows")


def _reading(kind: Kind, table: Table, options: Options, missing: list[str]) -> Json:
    return {
        "what": kind.key,
        "read_as": table.read_as,
        "columns": list(table.columns),
        "sample": [[_shown(cell) for cell in row.cells[: len(table.columns)]] for row in table.rows[:SAMPLE_ROWS]],
        "fields": [{"name": each.name, "required": each.required} for each in kind.fields],
        "mapping": dict(options.mapping),
        "missing": missing,
        "distance_unit": options.distance_unit,
        "volume_unit": options.volume_unit,
    }


def _shown(cell: str) -> str:
    return cell.removeprefix(EXACT)[:80]


def _question(name: str, answer: Answer) -> Json:
    return {
        "name": name,
        "choices": list(DECIMALS if name == "decimal" else DAY_ORDERS),
        "evidence": answer.evidence,
    }


def _told(found: Parsed) -> list[Json]:
    """What the file told by itself, with the cell that told it, so that somebody can object."""
    return [
        {"name": name, "value": answer.value, "how": answer.how, "evidence": answer.evidence}
        for name, answer in (("decimal", found.decimal), ("day_order", found.day_order))
        if answer.value is not None
    ]


def bad_rows(data: bytes, result: Json) -> tuple[list[str], list[list[str]]]:
    """The rows that were refused, as they stood in the file, each with what is wrong: to be corrected, sent again."""
    table = read_table(data)
    reasons: dict[int, list[str]] = {}
    for fault in result.get("faults", ()):
        told = f"{fault['column']}: {fault['detail']}" if fault["column"] else fault["detail"]
        reasons.setdefault(fault["row"], []).append(told)
    width = len(table.columns)
    rows = [
        [*(cell.removeprefix(EXACT) for cell in row.cells[:width]), " ".join(reasons[row.number])]
        for row in table.rows
        if row.number in reasons
    ]
    return [*table.columns, "what is wrong"], rows
