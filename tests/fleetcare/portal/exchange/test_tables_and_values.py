"""Whatever wrote the file: its cells come out as text, and what they do not tell by themselves is asked."""

import io
import zipfile
from datetime import date, datetime
from decimal import Decimal

import openpyxl
import pytest

from fleetcare.kernel.errors import InvalidInput
from fleetcare.portal.exchange import tables, values
from fleetcare.portal.exchange.kinds import guessed_mapping, kinds
from fleetcare.portal.exchange.tables import read_table
from fleetcare.portal.exchange.values import CellFault, day_order, decimal_sign

ROWS = [
    ("Vehicle", "Date", "Note"),
    ("Blåbil, the old", "2026-10-03", 'said "soon"\nand left'),
    ("Käfer", "2026-10-04", ""),
]


def cells(data: bytes) -> list[tuple[str, ...]]:
    table = read_table(data)
    return [table.columns, *(row.cells for row in table.rows)]


def csv_text(delimiter: str, end: str) -> str:
    return end.join(delimiter.join('"' + cell.replace('"', '""') + '"' for cell in row) for row in ROWS) + end


@pytest.mark.parametrize("delimiter", [",", ";", "\t", "|"])
@pytest.mark.parametrize("end", ["\n", "\r\n", "\r"])
@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "cp1252", "utf-16"])
def test_every_way_of_writing_the_same_table_is_read_alike(delimiter: str, end: str, encoding: str) -> None:
    assert cells(csv_text(delimiter, end).encode(encoding)) == ROWS


def test_how_a_file_was_read_is_told() -> None:
    assert read_table(csv_text(";", "\r").encode("cp1252")).read_as == "CSV, Windows-1252, semicolon"


def test_a_spreadsheets_hint_about_the_separator_is_followed() -> None:
    assert cells(b"sep=;\nvehicle;note\nBlue;a,b,c,d\n") == [("vehicle", "note"), ("Blue", "a,b,c,d")]


def test_a_workbook_gives_days_and_numbers_as_what_they_are() -> None:
    book = openpyxl.Workbook()
    book.active.append(["vehicle", "day", "km", "litres", "full", "at"])
    book.active.append(["Blue", date(2026, 10, 3), 187450, 41.25, True, datetime(2026, 10, 3)])  # noqa: DTZ001 - a cell has no zone
    written = io.BytesIO()
    book.save(written)
    row = read_table(written.getvalue()).rows[0]
    assert (row.number, row.cells[1], row.cells[4], row.cells[5]) == (2, "2026-10-03", "yes", "2026-10-03")
    assert values.number(row.cells[2], None) == 187450
    assert values.number(row.cells[3], "comma") == Decimal("41.25")


def test_rows_are_counted_as_a_spreadsheet_counts_them() -> None:
    table = read_table(b'\nvehicle,note\n\nBlue,"two\nlines"\nRed,x\n')
    assert [row.number for row in table.rows] == [4, 5]


def test_a_row_with_more_cells_than_columns_keeps_what_is_too_much() -> None:
    assert read_table(b"vehicle,km\nBlue,1,5,6\n").rows[0].cells == ("Blue", "1", "5 6")
    assert read_table(b"vehicle,km,note\nBlue\n").rows[0].cells == ("Blue", "", "")


def bomb() -> bytes:
    written = io.BytesIO()
    with zipfile.ZipFile(written, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("xl/worksheets/sheet1.xml", b"\0" * (tables._MOST_UNPACKED_BYTES + 1))
    return written.getvalue()


def with_entities() -> bytes:
    written = io.BytesIO()
    with zipfile.ZipFile(written, "w") as archive:
        archive.writestr("xl/workbook.xml", b'<?xml version="1.0"?><!DOCTYPE x [<!ENTITY a "aaaa">]><x>&a;</x>')
    return written.getvalue()


@pytest.mark.parametrize(
    ("data", "code"),
    [
        (b"", "empty"),
        (b"\n \n", "empty"),
        (b"vehicle,km\n", "no-rows"),
        (b"km,KM\n1,2\n", "column-twice"),
        (b"PK\x03\x04 and nothing else", "not-a-workbook"),
        (b"\x00\x01\x02\xff\xfe" * 40, "not-text"),
        (b"\xff\xfe\x00", "not-text"),
        (b"a\x81b,c\n\x8d,d\n", "not-text"),
        (("a" + ",a" * 0 + "\n" + "x\n" * (tables.MOST_ROWS + 2)).encode(), "too-many-rows"),
        ((",".join(f"c{n}" for n in range(101)) + "\n1\n").encode(), "too-many-columns"),
        (b"a" * (tables.MOST_BYTES + 1), "too-large"),
        (b'a,b\n1,"' + b"x" * 200_000, "not-csv"),
        (bomb(), "too-large"),
        (with_entities(), "not-a-workbook"),
    ],
)
def test_what_is_no_table_is_refused_with_the_reason(data: bytes, code: str) -> None:
    with pytest.raises(InvalidInput) as refused:
        read_table(data)
    assert refused.value.faults[0].code == code


@pytest.mark.parametrize(
    ("given", "value", "how", "evidence"),
    [
        (["1,5", "2,75"], "comma", "told by the file", "1,5"),
        (["1.5", "7"], "point", "told by the file", "1.5"),
        (["1.234,5"], "comma", "told by the file", "1.234,5"),
        (["1,234.5"], "point", "told by the file", "1,234.5"),
        (["1.234.567"], "comma", "told by the file", "1.234.567"),
        (["0.123"], "point", "told by the file", "0.123"),
        (["1.234", "5"], None, "asked", "1.234"),
        (["187,450"], None, "asked", "187,450"),
        (["1,5", "1.5"], None, "asked", "1,5 / 1.5"),
        (["12", "17"], None, "not needed", ""),
        (["none", ""], None, "not needed", ""),
    ],
)
def test_a_comma_is_told_by_the_file_or_asked_about(
    given: list[str], value: str | None, how: str, evidence: str
) -> None:
    answer = decimal_sign(given, None)
    assert (answer.value, answer.how, answer.evidence) == (value, how, evidence)


@pytest.mark.parametrize(
    ("given", "value", "how"),
    [
        (["13.04.2026", "1.4.2026"], "dmy", "told by the file"),
        (["4/13/2026"], "mdy", "told by the file"),
        (["3/4/2026", "5/6/2026"], None, "asked"),
        (["13/4/2026", "4/13/2026"], None, "asked"),
        (["2026-10-03"], None, "not needed"),
    ],
)
def test_an_order_of_days_is_told_by_the_file_or_asked_about(given: list[str], value: str | None, how: str) -> None:
    answer = day_order(given, None)
    assert (answer.value, answer.how) == (value, how)


def test_an_answer_that_was_given_is_not_doubted() -> None:
    assert decimal_sign(["1.5"], "comma").value == "comma"
    assert day_order(["13.04.2026"], "mdy").value == "mdy"


@pytest.mark.parametrize(
    ("cell", "decimal", "number"),
    [
        ("1.234,5", "comma", "1234.5"), ("1 234,5", "comma", "1234.5"), ("1\u202f234,5", "comma", "1234.5"),
        ("1,234.5", "point", "1234.5"), ("1'234.5", "point", "1234.5"), ("1.234", "comma", "1234"),
        ("1.234", "point", "1.234"), ("-3", None, "-3"), ("187450", None, "187450"),
    ],
)  # fmt: skip
def test_numbers_are_read_by_the_answer(cell: str, decimal: str | None, number: str) -> None:
    assert values.number(cell, decimal) == Decimal(number)


@pytest.mark.parametrize(
    ("cell", "decimal", "code"),
    [
        ("1.5", "comma", "not-a-number"), ("1,23,4", "point", "not-a-number"), ("12,34.5", "point", "not-a-number"),
        ("1.234", None, "decimal-sign"), ("abc", "point", "not-a-number"), ("1e5", "point", "not-a-number"),
        ("=1+1", "point", "not-a-number"), ("NaN", "point", "not-a-number"), ("١٢", "point", "not-a-number"),
    ],
)  # fmt: skip
def test_what_is_no_number_or_would_be_a_guess_is_a_fault(cell: str, decimal: str | None, code: str) -> None:
    with pytest.raises(CellFault) as fault:
        values.number(cell, decimal)
    assert fault.value.code == code


def test_days_are_read_by_the_answer() -> None:
    assert values.day("3.4.2026", "dmy") == date(2026, 4, 3)
    assert values.day("3/4/2026", "mdy") == date(2026, 3, 4)
    assert values.day("2026-4-3 00:00:00", None) == date(2026, 4, 3)


@pytest.mark.parametrize(
    ("cell", "order", "code"),
    [
        ("3.4.26", "dmy", "short-year"), ("31.02.2026", "dmy", "not-a-day"), ("13.13.2026", "dmy", "not-a-day"),
        ("yesterday", "dmy", "not-a-day"), ("3.4.2026", None, "day-order"), ("2026-13-01", None, "not-a-day"),
    ],
)  # fmt: skip
def test_what_is_no_day_or_would_be_a_guess_is_a_fault(cell: str, order: str | None, code: str) -> None:
    with pytest.raises(CellFault) as fault:
        values.day(cell, order)
    assert fault.value.code == code


def test_texts_are_kept_as_they_are_within_bounds() -> None:
    assert values.text(" =SUM(A1) ", 20) == "=SUM(A1)"
    assert values.text(f"{tables.EXACT}12", 20) == "12"
    for cell, code in (("a\0b", "control-characters"), ("x" * 21, "too-long")):
        with pytest.raises(CellFault) as fault:
            values.text(cell, 20)
        assert fault.value.code == code


def test_columns_are_found_under_the_names_other_programs_use() -> None:
    found = guessed_mapping(
        kinds()["fuel"], ["Datum", "KM-Stand", "Menge", "Preis", "Kennzeichen", "Voll", "Tankstelle"]
    )
    assert found == {
        "vehicle": "Kennzeichen", "filled_on": "Datum", "litres": "Menge", "odometer": "KM-Stand", "full": "Voll",
        "price": "Preis",
    }  # fmt: skip
    plates = guessed_mapping(kinds()["vehicles"], ["Vehicle", "Plate", "First registration", "fuel", "gearbox"])
    assert plates == {
        "name": "Vehicle", "plate": "Plate", "first_used_on": "First registration",
        "fuel": "fuel", "gearbox": "gearbox",
    }  # fmt: skip
