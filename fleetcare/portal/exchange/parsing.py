"""Rows of text as records: each cell in its form, every fault with its row, its column and what stood there."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from decimal import Decimal
from typing import Any

from fleetcare.kernel.errors import Fault, raise_if_any
from fleetcare.kernel.money import Money
from fleetcare.kernel.units import to_km, to_litres
from fleetcare.portal.exchange import values
from fleetcare.portal.exchange.kinds import Field, Kind
from fleetcare.portal.exchange.tables import EXACT, Row, Table

Record = dict[str, Any]
LONGEST_TOLD = 80
_NUMERIC = frozenset({"number", "distance", "volume", "money"})
_MOST = Decimal(10) ** 12


@dataclass(frozen=True, slots=True)
class RowFault:
    """One thing wrong with one row."""

    row: int
    column: str
    value: str
    code: str
    detail: str

    def as_json(self) -> dict[str, Any]:
        """For the job's result."""
        return {
            "row": self.row,
            "column": self.column,
            "value": self.value[:LONGEST_TOLD],
            "code": self.code,
            "detail": self.detail,
        }


@dataclass(frozen=True, slots=True)
class Options:
    """How a file is to be read: which column says what, and the answers to what the file does not tell itself."""

    mapping: Mapping[str, str]
    decimal: str | None = None
    day_order: str | None = None
    distance_unit: str = "km"
    volume_unit: str = "L"
    currency: str = "EUR"


@dataclass(slots=True)
class Parsed:
    """What the rows say. A row with a fault is not among the records."""

    decimal: values.Answer
    day_order: values.Answer
    records: dict[int, Record] = field(default_factory=dict)
    faults: list[RowFault] = field(default_factory=list)

    @property
    def questions(self) -> list[str]:
        """What has to be asked before anything can be stored."""
        return [name for name, answer in (("decimal", self.decimal), ("day_order", self.day_order)) if answer.is_open]


def check_mapping(kind: Kind, table: Table, mapping: Mapping[str, str], *, vehicle_given: bool) -> None:
    """Raises InvalidInput naming each field or column that does not exist, and each one that must be there."""
    known = {each.name for each in kind.fields}
    faults = [
        Fault(f"/mapping/{name}", "unknown-field", f"There is no such field; known: {', '.join(sorted(known))}.")
        for name in mapping
        if name not in known
    ]
    faults += [
        Fault(f"/mapping/{name}", "unknown-column", "The file has no such column.")
        for name, column in mapping.items()
        if name in known and column not in table.columns
    ]
    needed = [each.name for each in kind.fields if each.required]
    if any(each.name == "vehicle" for each in kind.fields) and not vehicle_given:
        needed.append("vehicle")
    faults += [
        Fault(f"/mapping/{name}", "required", "Say which column of the file tells this.")
        for name in needed
        if name not in mapping
    ]
    raise_if_any(faults)


def parsed(kind: Kind, table: Table, options: Options) -> Parsed:
    """Every row in its forms. What has to be asked stays open, and the cells it concerns are not faults."""
    places = {name: table.columns.index(column) for name, column in options.mapping.items()}
    decimal = values.decimal_sign(_cells(kind, table, places, _NUMERIC), options.decimal)
    order = values.day_order(_cells(kind, table, places, {"day"}), options.day_order)
    found = Parsed(decimal, order)
    if found.questions:
        return found
    for row in table.rows:
        record, faults = _record(kind, table, places, row, found, options)
        found.faults += faults
        if not faults:
            found.records[row.number] = record
    return found


def _cells(kind: Kind, table: Table, places: Mapping[str, int], forms: Any) -> Iterator[str]:
    columns = [places[each.name] for each in kind.fields if each.name in places and each.form in forms]
    return (row.cells[at] for row in table.rows for at in columns)


def _record(
    kind: Kind, table: Table, places: Mapping[str, int], row: Row, found: Parsed, options: Options
) -> tuple[Record, list[RowFault]]:
    if len(row.cells) > len(table.columns):
        sentence = "This row has more cells than there are columns: a separator in a cell without quotes?"
        return {}, [RowFault(row.number, "", row.cells[-1], "too-many-cells", sentence)]
    record: Record = {}
    faults = []
    for each in kind.fields:
        if each.name in places:
            cell = row.cells[places[each.name]]
            try:
                record[each.name] = _value(each, cell, found, options)
            except values.CellFault as fault:
                column = table.columns[places[each.name]]
                told = cell.removeprefix(EXACT) if each.form != "text" else cell
                faults.append(RowFault(row.number, column, told, fault.code, fault.sentence))
    return record, faults


def _value(each: Field, cell: str, found: Parsed, options: Options) -> Any:
    if not cell.strip():
        if each.required:
            raise values.CellFault("required", "This must not be empty.")
        return False if each.form == "yes-no" else "" if each.form in {"text", "trait"} else None
    if each.form in _NUMERIC:
        return _amount(each, cell, found, options)
    if each.form == "day":
        return values.day(cell, found.day_order.value)
    if each.form == "yes-no":
        return values.yes_or_no(cell)
    words = values.text(cell, each.longest)
    return words.casefold() if each.form == "trait" else words


def _amount(each: Field, cell: str, found: Parsed, options: Options) -> Any:
    number = values.number(cell, found.decimal.value)
    if not 0 <= number <= _MOST:
        raise values.CellFault("range", "Not below nothing, and no more than there can be.")
    if each.form == "distance":
        return to_km(number, options.distance_unit)
    if each.form == "volume":
        return to_litres(number, options.volume_unit)
    if each.form == "money":
        return Money.of(number, options.currency).minor
    return number


def column_of(options: Options, *names: str) -> str:
    """The column that says the first of these fields that any column says."""
    return next((options.mapping[name] for name in names if name in options.mapping), "")
