"""A file from a spreadsheet as rows of text, whatever wrote it; what cannot be told from the file is not guessed."""

import csv
import io
import zipfile
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import date, datetime, time
from typing import Any

from fleetcare.kernel.errors import InvalidInput
from fleetcare.portal.exchange.directories import contents_fit

MOST_BYTES = 20 * 1024 * 1024
MOST_ROWS = 50_000
MOST_COLUMNS = 100
LONGEST_CELL = 5_000
_MOST_UNPACKED_BYTES = 200 * 1024 * 1024
_MOST_ENTRIES = 2_000
_MOST_CONTENTS_BYTES = _MOST_ENTRIES * 200
_DELIMITERS = (";", ",", "\t", "|")
_ZIP = b"PK\x03\x04"


@dataclass(frozen=True, slots=True)
class Row:
    """One row under its number in the file, as a spreadsheet counts (the names of the columns stand in row 1)."""

    number: int
    cells: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Table:
    """Rows with as many cells as there are columns, and how the file was read."""

    columns: tuple[str, ...]
    rows: tuple[Row, ...]
    read_as: str
    """For people: "CSV, UTF-8, semicolon"."""


def read_table(data: bytes) -> Table:
    """The table in a CSV or XLSX file: UTF-8, UTF-16 with a mark or Windows-1252; comma, semicolon, tab or bar.

    Raises InvalidInput for anything else, and for a file without rows, with too many, or with a column named twice.
    """
    if len(data) > MOST_BYTES:
        raise _refused("too-large", f"At most {MOST_BYTES // 1024**2} MB are read.")
    rows, read_as = _workbook(data) if data.startswith(_ZIP) else _text(data)
    first = next((row for row in rows if any(cell.strip() for cell in row.cells)), None)
    if first is None:
        raise _refused("empty", "There is nothing in the file.")
    columns = tuple(" ".join(cell.split()) for cell in first.cells)
    while columns and not columns[-1]:
        columns = columns[:-1]
    _check_columns(columns)
    body = [row for row in rows if row.number > first.number and any(cell.strip() for cell in row.cells)]
    if not body:
        raise _refused("no-rows", "There is nothing under the names of the columns.")
    return Table(columns, tuple(_squared(row, len(columns)) for row in body), read_as)


def _refused(code: str, sentence: str) -> InvalidInput:
    return InvalidInput.at("/file", code, sentence)


def _check_columns(columns: tuple[str, ...]) -> None:
    if len(columns) > MOST_COLUMNS:
        raise _refused("too-many-columns", f"At most {MOST_COLUMNS} columns are read.")
    named = [name.casefold() for name in columns if name]
    twice = sorted({name for name in named if named.count(name) > 1})
    if twice:
        raise _refused("column-twice", f"Two columns have the same name: {', '.join(twice)}.")


def _squared(row: Row, width: int) -> Row:
    """As many cells as columns; cells beyond the last column are kept as one, so that a shifted row is told."""
    cells = tuple(cell.strip() for cell in row.cells)
    beyond = " ".join(cell for cell in cells[width:] if cell)
    padded = (*cells[:width], *[""] * (width - len(cells)))
    return Row(row.number, (*padded, beyond) if beyond else padded)


def _text(data: bytes) -> tuple[list[Row], str]:
    text, encoding = _decoded(data)
    # Old programs end a line with a carriage return alone; the reader of CSV does not.
    text = text.replace("\r\n", "\n").replace("\r", "\n")
    head, _, rest = text.partition("\n")
    if head.lower().startswith("sep=") and len(head.strip()) == 5:
        delimiter, text = head.strip()[4], rest
    else:
        delimiter = _delimiter(text)
    rows = []
    try:
        for number, cells in enumerate(csv.reader(io.StringIO(text, newline=""), delimiter=delimiter), 1):
            rows.append(Row(number, tuple(cells)))
            if number > MOST_ROWS + 1:
                raise _refused("too-many-rows", f"At most {MOST_ROWS} rows are read at once; split the file.")
    except csv.Error as error:
        raise _refused("not-csv", f"The file cannot be read as CSV after row {len(rows)}: {error}.") from error
    names = {";": "semicolon", ",": "comma", "\t": "tab", "|": "bar"}
    return rows, f"CSV, {encoding}, {names.get(delimiter, delimiter)}"


def _decoded(data: bytes) -> tuple[str, str]:
    if data[:2] in {b"\xff\xfe", b"\xfe\xff"}:
        try:
            return data.decode("utf-16"), "UTF-16"
        except UnicodeDecodeError as error:
            raise _refused("not-text", "The file says it is UTF-16 and is not.") from error
    if data.count(0) * 10 > len(data):
        raise _refused("not-text", "The file is neither a table in text nor an .xlsx workbook.")
    try:
        return data.decode("utf-8-sig"), "UTF-8"
    except UnicodeDecodeError:
        pass
    try:
        return data.decode("cp1252"), "Windows-1252"
    except UnicodeDecodeError as error:
        raise _refused("not-text", "The file is neither UTF-8 nor Windows-1252; save it as UTF-8.") from error


def _delimiter(text: str) -> str:
    """The sign that the names of the columns are parted by; a comma where there is one column only."""
    line = next((line for line in text.split("\n") if line.strip()), "")
    outside = "".join(line.split('"')[::2])
    counts = {sign: outside.count(sign) for sign in _DELIMITERS}
    best = max(counts, key=lambda sign: counts[sign])
    return best if counts[best] else ","


def _workbook(data: bytes) -> tuple[list[Row], str]:
    """The first sheet of an .xlsx file; a formula counts as the value that was last computed."""
    _check_archive(data)
    from openpyxl import load_workbook
    from openpyxl.utils.exceptions import InvalidFileException

    try:
        book = load_workbook(io.BytesIO(data), read_only=True, data_only=True, keep_links=False)
        sheet = book.worksheets[0]
        rows = [
            Row(number, tuple(_cell(value) for value in values))
            for number, values in enumerate(_limited(sheet.iter_rows(values_only=True)), 1)
        ]
        book.close()
    except (InvalidFileException, KeyError, ValueError, IndexError, SyntaxError, zipfile.BadZipFile) as error:
        raise _refused("not-a-workbook", "The file is no .xlsx workbook, or a damaged one.") from error
    return rows, f"XLSX, sheet {sheet.title}"


def _limited(rows: Iterable[tuple[Any, ...]]) -> Iterator[tuple[Any, ...]]:
    for number, row in enumerate(rows, 1):
        if number > MOST_ROWS + 1:
            raise _refused("too-many-rows", f"At most {MOST_ROWS} rows are read at once; split the file.")
        yield row[: MOST_COLUMNS + 1]


def _check_archive(data: bytes) -> None:
    """Before anything is unpacked: a small file that would fill the memory, or one that declares entities."""
    if not contents_fit(io.BytesIO(data), _MOST_CONTENTS_BYTES):
        raise _refused("not-a-workbook", "The file is no .xlsx workbook, or a damaged one.")
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            entries = archive.infolist()
            if len(entries) > _MOST_ENTRIES or sum(entry.file_size for entry in entries) > _MOST_UNPACKED_BYTES:
                raise _refused("too-large", "The workbook is too large when unpacked.")
            for entry in entries:
                if entry.filename.endswith((".xml", ".rels")):
                    with archive.open(entry) as part:
                        if b"<!DOCTYPE" in part.read(4096).upper():
                            raise _refused("not-a-workbook", "The workbook declares entities; save it anew.")
    except (zipfile.BadZipFile, NotImplementedError, RuntimeError, EOFError, OSError) as error:
        raise _refused("not-a-workbook", "The file is no .xlsx workbook, or a damaged one.") from error


def _cell(value: Any) -> str:
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, datetime):
        return value.date().isoformat() if value.time() == time() else value.isoformat(sep=" ")
    if isinstance(value, date):
        return value.isoformat()
    if isinstance(value, float):
        # A spreadsheet's number is no text with a comma or a point: it is told in the one way that is never asked.
        return EXACT + (f"{value:.0f}" if value == int(value) else repr(value))
    if isinstance(value, int):
        return EXACT + str(value)
    return str(value)


EXACT = "\x02"
"""Stands before a number that came as a number; no text that is taken has it."""
