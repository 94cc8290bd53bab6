"""A vehicle's history in words: what happened on which day, what was found, and what it cost."""

import uuid
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from itertools import groupby
from typing import Any

from django.utils.translation import gettext, ngettext
from django.utils.translation import gettext_lazy as _

from fleetcare.portal.record.timeline import Changed, Entry, Kind, as_km
from fleetcare.portal.web.presenters import words
from fleetcare.portal.web.presenters.figures import Day, Figures

FEW = 6
"""So many findings of an inspection are named; the others are counted."""
_LABELS: Mapping[Kind, Any] = {
    Kind.INSPECTION: _("Looked over"),
    Kind.JOB: _("Job done"),
    Kind.FINDING: _("Finding"),
    Kind.PART: _("Renewed"),
    Kind.SERVICE: _("Service done"),
    Kind.READING: _("Odometer read"),
}
FILTERS: Mapping[str, tuple[Any, tuple[Kind, ...]]] = {
    "": (_("Everything"), ()),
    "inspections": (_("Inspections"), (Kind.INSPECTION,)),
    "jobs": (_("Jobs and service"), (Kind.JOB, Kind.SERVICE)),
    "parts": (_("Parts renewed"), (Kind.PART,)),
    "findings": (_("Findings settled"), (Kind.FINDING,)),
    "readings": (_("Odometer"), (Kind.READING,)),
}
"""What the list can be narrowed to, by the word in the address."""
_CHANGES: Mapping[str, Any] = {
    "opened": _("found"),
    "worsened": _("got worse"),
    "improved": _("got better"),
    "closed": _("found put right"),
}
_SETTLED: Mapping[str, Any] = {
    "closed": _("Put right"),
    "dismissed": _("Found to be none"),
    "deferred": _("Put off"),
}
"""What became of a finding without an inspection."""
_GROUPED = (Kind.PART, Kind.FINDING)


@dataclass(frozen=True, slots=True)
class Line:
    """One of several things that an entry tells."""

    what: str
    grade: words.GradeShown | None


@dataclass(frozen=True, slots=True)
class EntryShown:
    """One entry: a day, what it was, and what it leads to ("inspection", "job" or "")."""

    on: Day | None
    label: str
    what: str
    more: tuple[str, ...]
    grade: words.GradeShown | None
    lines: tuple[Line, ...]
    others: str
    leads_to: str
    id: uuid.UUID


def timeline_shown(
    figures: Figures, entries: Iterable[Entry], changes: Mapping[uuid.UUID, Sequence[Changed]]
) -> list[EntryShown]:
    """Entries in their order; parts fitted and findings closed on one day are told as one."""
    told = []
    for (_day, kind, _change), group in groupby(entries, key=lambda entry: (entry.day, entry.kind, _settled(entry))):
        rows = list(group)
        if kind in _GROUPED:
            told.append(_group(figures, kind, rows))
        else:
            told += [_entry(figures, row, changes.get(row.id, ())) for row in rows]
    return told


def _group(figures: Figures, kind: Kind, rows: Sequence[Entry]) -> EntryShown:
    first = rows[0]
    lines = [_part(row) if kind == Kind.PART else _finding(row) for row in rows]
    label = str(_SETTLED.get(_settled(first), _LABELS[kind]))
    km = as_km(first.number) if kind == Kind.PART else None
    more = (gettext("after %(distance)s") % {"distance": figures.distance(km)},) if km is not None else ()
    one = lines[0].what if len(lines) == 1 else ""
    return EntryShown(figures.day(first.day), label, one, more, None, () if one else tuple(lines), "", "", first.id)


def _settled(row: Entry) -> str:
    return row.detail.partition(" ")[0] if row.kind == Kind.FINDING else ""


def _part(row: Entry) -> Line:
    found = words.catalogue().parts.get(row.text)
    return Line(words.at_place(found.title if found else row.text, words.place(row.detail)), None)


def _finding(row: Entry) -> Line:
    return Line(words.at_place(words.check(row.text), words.place(row.detail.partition(" ")[2])), None)


def _entry(figures: Figures, row: Entry, changes: Sequence[Changed]) -> EntryShown:
    lines, others = _changes(changes)
    return EntryShown(
        on=figures.day(row.day),
        label=gettext("Odometer replaced") if row.kind == Kind.READING and row.flag else str(_LABELS[row.kind]),
        what=_what(figures, row),
        more=tuple(filter(None, _more(figures, row))),
        grade=words.grade(None if row.number is None else int(row.number)) if row.kind == Kind.INSPECTION else None,
        lines=lines,
        others=others,
        leads_to={Kind.INSPECTION: "inspection", Kind.JOB: "job"}.get(row.kind, ""),
        id=row.id,
    )


def _what(figures: Figures, row: Entry) -> str:
    if row.kind == Kind.INSPECTION:
        return words.sheet(row.text)
    km = as_km(row.number)
    if row.kind == Kind.READING and km is not None:
        return figures.distance(km)
    return words.told(row.text)


def _more(figures: Figures, row: Entry) -> Iterable[str]:
    if row.kind == Kind.INSPECTION:
        return row.detail, gettext("draft, not counted yet") if row.flag else ""
    if row.kind == Kind.JOB:
        cost = figures.money(round(row.number or 0)) if row.flag else ""
        return words.places(filter(None, row.detail.split(","))), cost
    if row.kind == Kind.SERVICE:
        km = as_km(row.number)
        return row.detail, gettext("after %(distance)s") % {"distance": figures.distance(km)} if km else ""
    return ()


def _changes(changes: Sequence[Changed]) -> tuple[tuple[Line, ...], str]:
    lines = tuple(_change(change) for change in changes[:FEW])
    count = len(changes) - len(lines)
    others = ngettext("and %(count)d more change", "and %(count)d more changes", count) % {"count": count}
    return lines, others if count else ""


def _change(change: Changed) -> Line:
    title = words.at_place(words.check(change.check_key), words.place(change.position))
    told = gettext("%(what)s: %(change)s") % {"what": title, "change": _CHANGES.get(change.kind, change.kind)}
    return Line(told, words.grade(change.grade) if change.kind != "closed" else None)
