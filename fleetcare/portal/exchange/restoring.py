"""The way back: an export restored into an empty fleet, wholly or not at all."""

import uuid
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from decimal import Decimal
from itertools import islice
from typing import IO, Any, TypeVar
from zoneinfo import available_timezones

from django.core.exceptions import ValidationError
from django.db import IntegrityError, models, transaction

from fleetcare.fleet.access import Access
from fleetcare.fleet.models import Fleet, Vehicle
from fleetcare.fleet.words import Role
from fleetcare.kernel.errors import Conflict, Fault, InvalidInput, raise_if_any
from fleetcare.kernel.money import is_currency
from fleetcare.portal.exchange.archive import Archive, refused
from fleetcare.portal.exchange.fresh_ids import fresh_ids, with_fresh_ids
from fleetcare.portal.exchange.kept_photos import KeptPhotos
from fleetcare.portal.exchange.record import (
    NOT_RESTORED,
    PHOTOS,
    Json,
    Table,
    columns_by_name,
    columns_of,
    label_of,
    references,
    restored_tables,
)
from inspections.catalogue.loader import default_catalogue

Progress = Callable[[float], None]
MOST_FAULTS = 100
_AT_ONCE = 500
_SETTINGS = ("name", "kind", "currency", "distance_unit", "time_zone", "limit_scheme", "labour_per_hour_minor",
             "price_factor")  # fmt: skip
_T = TypeVar("_T")


@dataclass(slots=True)
class _Restoring:
    """What is known while rows are stored."""

    access: Access
    archive: Archive
    ids: Mapping[str, str]
    """Old id to new one, as text."""
    by_table: Mapping[str, set[str]]
    """The old ids of each table."""
    faults: list[Fault] = field(default_factory=list)

    def fault(self, label: str, row: Json, column: str, code: str, sentence: str) -> None:
        """Notes one thing wrong, and stops where there are too many to be read."""
        key = str(row.get("id", "?"))[:40]
        self.faults.append(Fault(f"/{label}/{key}/{column}", code, sentence))
        if len(self.faults) >= MOST_FAULTS:
            raise InvalidInput.of(self.faults)


def require_empty(access: Access) -> None:
    """Raises Conflict unless the fleet has no vehicles: an export is restored into an empty one."""
    if Vehicle.objects.within(access.fleet).exists():
        raise Conflict("This fleet has vehicles; restore into a new, empty fleet.", code="not-empty")


def restore_fleet(access: Access, source: IO[bytes], progress: Progress) -> Json:
    """Restores an export into an empty fleet. Owners only.

    Ids become new ones in the old order, and references follow. Raises InvalidInput with what is wrong, Conflict
    where the fleet has vehicles; then nothing is stored and no file is left.
    """
    access.require(Role.OWNER)
    require_empty(access)
    archive = Archive(source)
    work = _Restoring(access, archive, *_ids(archive))
    counts: dict[str, int] = {}
    tables = restored_tables()
    with _photos(work, progress) as photos, transaction.atomic():
        require_empty(access)
        _restore_settings(access.fleet, archive.manifest["fleet"])
        later: list[tuple[Table, str, uuid.UUID, uuid.UUID]] = []
        for index, table in enumerate(tables):
            counts[label_of(table)] = _restore_table(work, table, tables[: index + 1], photos, later)
            progress(0.5 + 0.5 * (index + 1) / len(tables))
        raise_if_any(work.faults)
        _link(access, later)
        photos.keep()
    return {"rows": sum(counts.values()), "tables": {label: n for label, n in counts.items() if n}}


def _photos(work: _Restoring, progress: Progress) -> KeptPhotos:
    """Decoded before the transaction: slow pictures must not hold the database."""
    photos = KeptPhotos(work.access, work.archive)
    try:
        photos.prepare(work.fault, lambda share: progress(0.5 * share))
    except BaseException:
        photos.drop()
        raise
    return photos


def _ids(archive: Archive) -> tuple[dict[str, str], dict[str, set[str]]]:
    labels = [label_of(table) for table in restored_tables()]
    by_table = {label: {str(row.get("id")) for row in archive.rows(label)} for label in labels}
    old = []
    for key in set().union(*by_table.values()):
        try:
            old.append(uuid.UUID(key))
        except ValueError as error:
            raise refused("not-an-export", "A row has an id that is no UUID.") from error
    return {str(key): str(new) for key, new in fresh_ids(old).items()}, by_table


def _restore_settings(fleet: Fleet, settings: Json) -> None:
    faults = []
    for name in _SETTINGS:
        column: Any = Fleet._meta.get_field(name)  # noqa: SLF001 - Django's own name for its public part
        try:
            setattr(fleet, name, _checked(column, settings.get(name)))
        except (ValidationError, TypeError, ValueError) as error:
            faults.append(Fault(f"/manifest/fleet/{name}", "invalid", _sentence(error)))
    if settings.get("time_zone") not in available_timezones():
        faults.append(Fault("/manifest/fleet/time_zone", "unknown-zone", "There is no such time zone."))
    if not is_currency(str(settings.get("currency"))):
        faults.append(Fault("/manifest/fleet/currency", "unknown-currency", "There is no such currency."))
    raise_if_any(faults)
    fleet.save(update_fields=list(_SETTINGS))


def _restore_table(
    work: _Restoring, table: Table, so_far: Sequence[Table], photos: KeptPhotos, later: list[Any]
) -> int:
    label, stored = label_of(table), 0
    is_out = NOT_RESTORED.get(label)
    rows = (row for row in work.archive.rows(label) if is_out is None or not is_out(row))
    for batch in _batches(rows, _AT_ONCE):
        made = [_instance(work, table, row, so_far, later) for row in batch]
        fit = [each for each in made if each is not None]
        if label == PHOTOS:
            photos.give(fit, {work.ids[str(row["id"])]: str(row["id"]) for row in batch})
        if not work.faults:
            _insert(table, fit)
        stored += len(fit)
    return stored


def _insert(table: Table, rows: list[Any]) -> None:
    automatic = [each.name for each in columns_of(table) if _is_automatic(each)]
    said = {row.pk: {name: getattr(row, name) for name in automatic} for row in rows}
    try:
        with transaction.atomic():
            table.objects.bulk_create(rows)
            if automatic:
                # Creating a row sets these to now, whatever it says.
                for row in rows:
                    for name, value in said[row.pk].items():
                        setattr(row, name, value)
                table.objects.bulk_update(rows, automatic)
    except IntegrityError as error:
        raise refused("contradiction", f"Rows of {label_of(table)} contradict each other: {error}."[:300]) from error


def _is_automatic(column: Any) -> bool:
    return getattr(column, "auto_now", False) or getattr(column, "auto_now_add", False)


def _instance(work: _Restoring, table: Table, row: Json, so_far: Sequence[Table], later: list[Any]) -> Any:
    """A row of the table with its new ids; None where it has a fault, which is noted."""
    label, columns, targets = label_of(table), columns_by_name(table), references(table)
    before = len(work.faults)
    for name in sorted(set(row) - set(columns)):
        work.fault(label, row, name[:60], "unknown-column", "There is no such column here.")
    values: dict[str, Any] = {}
    for name, column in columns.items():
        if name in row:
            try:
                values[name] = _value(work, name, column, targets.get(name), row[name])
            except (ValidationError, TypeError, ValueError, ArithmeticError) as error:
                work.fault(label, row, name, "invalid", _sentence(error))
    if len(work.faults) > before or "id" not in values:
        return None
    for name, target in targets.items():
        if target not in so_far[:-1] and values.get(name) is not None and columns[name].null:
            later.append((table, name, values["id"], values.pop(name)))
    return table(fleet_id=work.access.fleet.pk, **values)


def _value(work: _Restoring, name: str, column: Any, target: Any, raw: Any) -> Any:
    if target is not None and raw is not None:
        label = label_of(target)
        if str(raw) not in work.by_table.get(label, ()):
            if column.null and label not in work.by_table:
                return None
            raise ValueError(f"It refers to a row of {label} that is not in the export.")
    value = _checked(column, with_fresh_ids(raw, work.ids))
    if value and name in _IN_CATALOGUE and value not in _IN_CATALOGUE[name]():
        raise ValueError(f"The catalogue has no {name.removesuffix('_key')} {str(value)[:60]}.")
    return value


_IN_CATALOGUE: Mapping[str, Callable[[], Any]] = {
    "check_key": lambda: default_catalogue().checks,
    "part_key": lambda: default_catalogue().parts,
}


def _checked(column: Any, raw: Any) -> Any:
    """A value as its column takes it. Raises ValidationError or ValueError for one that it does not."""
    if raw is None:
        if not column.null:
            raise ValueError("This must not be empty.")
        return None
    if isinstance(column, models.ForeignKey):
        column = column.target_field
    if isinstance(column, models.BooleanField) and not isinstance(raw, bool):
        raise TypeError("Yes or no is needed here.")
    if isinstance(column, models.CharField | models.TextField) and not isinstance(raw, str):
        raise TypeError("A text is needed here.")
    value = column.to_python(raw)
    if isinstance(value, datetime) and value.tzinfo is None:
        raise ValueError("An instant needs its zone.")
    if isinstance(value, Decimal) and not value.is_finite():
        raise ValueError("A number is needed here.")
    choices = {key for key, _ in column.flatchoices}
    if choices and value not in choices and value != "":
        raise ValueError(f"Not one of {', '.join(map(str, choices))}."[:200])
    column.run_validators(value)
    return value


def _sentence(error: Exception) -> str:
    messages = error.messages if isinstance(error, ValidationError) else [str(error)]
    return " ".join(str(message) for message in messages)[:200]


def _link(access: Access, later: Iterable[tuple[Table, str, uuid.UUID, uuid.UUID]]) -> None:
    """References to rows that were stored after the row that refers to them."""
    by_column: dict[tuple[Table, str], dict[uuid.UUID, uuid.UUID]] = {}
    for table, name, key, target in later:
        by_column.setdefault((table, name), {})[key] = target
    for (table, name), links in by_column.items():
        for batch in _batches(links.items(), _AT_ONCE):
            rows = {row.pk: row for row in table.objects.within(access.fleet).filter(pk__in=[key for key, _ in batch])}
            for key, target in batch:
                setattr(rows[key], name, target)
            table.objects.bulk_update(rows.values(), [name.removesuffix("_id")])


def _batches(items: Iterable[_T], size: int) -> Iterable[list[_T]]:
    iterator = iter(items)
    while batch := list(islice(iterator, size)):
        yield batch
