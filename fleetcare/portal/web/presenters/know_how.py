"""Know-how in words: what somebody learned about a part, a job or a check of a model, and what it is about."""

import uuid
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from babel.dates import format_date
from django.utils.translation import gettext, to_locale
from django.utils.translation import gettext_lazy as _

from fleetcare.portal.web.presenters import words
from fleetcare.portal.web.presenters.figures import Figures
from scheduling.words import NoteKind

if TYPE_CHECKING:
    from scheduling.models import KnowHow

KINDS: tuple[tuple[str, Any], ...] = (
    (NoteKind.WHERE.value, _("Where it hides")),
    (NoteKind.TOOL.value, _("What tool")),
    (NoteKind.TIME.value, _("How long it really took")),
    (NoteKind.TORQUE.value, _("A tightening figure of the maker")),
    (NoteKind.NOTE.value, _("Anything else")),
)


@dataclass(frozen=True, slots=True)
class NoteShown:
    """One note."""

    id: uuid.UUID
    about: str
    kind: str
    text: str
    figure: str
    source: str
    author: str
    changed: str
    mine: bool
    """Whoever reads wrote it."""


def notes_shown(figures: Figures, rows: "Iterable[KnowHow]", actor: str) -> list[NoteShown]:
    """Notes in the order handed in."""
    return [_note(figures, row, actor) for row in rows]


def _note(figures: Figures, row: "KnowHow", actor: str) -> NoteShown:
    return NoteShown(
        id=row.pk,
        about=about(part=row.part_key, job=row.job_key, check=row.check_key),
        kind=str(dict(KINDS)[row.kind]),
        text=row.text,
        figure="" if row.value is None else figures.measured(float(row.value), row.unit),
        source=row.source,
        author=row.author,
        changed=format_date(row.changed_at, "medium", to_locale(figures.language)),
        mine=row.entered_by == actor,
    )


def about(*, part: str = "", job: str = "", check: str = "") -> str:
    """What a note is about, in the catalogue's words; empty for nothing."""
    catalogue, told = words.catalogue(), []
    if part:
        told.append(catalogue.parts[part].title if part in catalogue.parts else part)
    if job:
        told.append(catalogue.jobs[job].job.title if job in catalogue.jobs else job)
    if check:
        told.append(gettext("Check: %(title)s") % {"title": words.check(check)})
    return " · ".join(told)


def by_check(figures: Figures, rows: "Iterable[KnowHow]", checks: Iterable[str]) -> Mapping[str, tuple[str, ...]]:
    """What is told at each check: the notes about it and about its part, in one line each."""
    notes = list(rows)
    catalogue, found = words.catalogue(), {}
    for key in checks:
        part = catalogue.checks[key].part.key if key in catalogue.checks else ""
        mine = [row for row in notes if row.check_key == key or (row.part_key and row.part_key == part)]
        if mine:
            found[key] = tuple(one_line(figures, row) for row in mine)
    return found


def one_line(figures: Figures, row: "KnowHow") -> str:
    """A note with its figure and where that is from."""
    figure = "" if row.value is None else figures.measured(float(row.value), row.unit)
    return " ".join(filter(None, [row.text, figure, f"({row.source})" if row.source else ""]))
