"""Service rules as a page tells them: how often, when last, when next."""

import uuid
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING, Any

from django.utils.translation import gettext, ngettext
from django.utils.translation import gettext_lazy as _

from fleetcare.portal.web.presenters import words
from fleetcare.portal.web.presenters.due import DueShown, due_shown
from fleetcare.portal.web.presenters.figures import Day, Figures
from inspections.catalogue.service_templates import ServiceTemplate
from scheduling.core.due import State
from scheduling.words import RuleKind

if TYPE_CHECKING:
    from scheduling.models import DueItem, ServiceDone, ServiceRule

KINDS: tuple[tuple[str, Any], ...] = (
    (RuleKind.SERVICE.value, _("Service")),
    (RuleKind.STATUTORY.value, _("Statutory inspection")),
    (RuleKind.INSURANCE.value, _("Insurance")),
    (RuleKind.TAX.value, _("Vehicle tax")),
    (RuleKind.WARRANTY.value, _("Warranty")),
    (RuleKind.DOCUMENT.value, _("Document")),
)
_AFTER = "after "
_STATES = {State.OVERDUE: _("Overdue"), State.DUE: _("Due now"), State.SOON: _("Soon"), State.LATER: _("Later")}


@dataclass(frozen=True, slots=True)
class DoneShown:
    """One time that it was done."""

    on: Day | None
    at: str
    note: str


@dataclass(frozen=True, slots=True)
class RuleShown:
    """One rule about a vehicle."""

    id: uuid.UUID
    title: str
    kind: str
    every: str
    """ "every 15,000 km or 12 months"; empty for one that only runs out."""
    until: str
    part: str
    source: str
    note: str
    safety: bool
    paused: bool
    of_fleet: bool
    """It holds for every vehicle that it fits."""
    last: DoneShown | None
    counts_from: Day | None
    """A part was fitted later than the last time on record, and it counts from that day."""
    next: DueShown | None
    state: str
    state_word: str
    asks_next_end: bool


def rules_shown(
    figures: Figures,
    rules: Iterable["ServiceRule"],
    done: Iterable["ServiceDone"],
    due: Iterable["DueItem"],
    on: date,
) -> list[RuleShown]:
    """Rules with their last time and their next; `done` is in order of the days. The most pressing first."""
    last = {row.rule_id: row for row in done}
    open_items = {row.source: row for row in due}
    told = [(open_items.get(f"rule:{rule.pk}"), rule) for rule in rules]
    told.sort(key=lambda pair: (not pair[1].active, pair[0] is None, _nearness(pair[0]), pair[1].title))
    return [_rule(figures, rule, last.get(rule.pk), item, on) for item, rule in told]


def _nearness(item: "DueItem | None") -> tuple[int, date]:
    return (0, date.max) if item is None else (-item.state, item.due_on or date.max)


def _rule(
    figures: Figures, rule: "ServiceRule", last: "ServiceDone | None", item: "DueItem | None", on: date
) -> RuleShown:
    return RuleShown(
        id=rule.pk,
        title=words.told(rule.title),
        kind=str(dict(KINDS)[rule.kind]),
        every=every(figures, rule.every_km, rule.every_months),
        until=_until(figures, rule),
        part=_part(rule.part_key),
        source=words.told(rule.source),
        note=rule.note,
        safety=rule.safety,
        paused=not rule.active,
        of_fleet=rule.vehicle_id is None,
        last=None if last is None else done_shown(figures, last),
        counts_from=_counts_from(figures, last, item),
        next=None if item is None or not rule.active else due_shown(figures, item, on),
        state="" if item is None else State(item.state).word,
        state_word="" if item is None else str(_STATES[State(item.state)]),
        asks_next_end=not (rule.every_km or rule.every_months),
    )


def done_shown(figures: Figures, row: "ServiceDone") -> DoneShown:
    """One time of the record."""
    return DoneShown(figures.day(row.done_on), "" if row.total_km is None else figures.distance(row.total_km), row.note)


def every(figures: Figures, km: int | None, months: int | None) -> str:
    """How often, whichever comes first; empty where it does not repeat."""
    told = {
        "distance": figures.distance(km) if km else "",
        "months": ngettext("%(count)d month", "%(count)d months", months) % {"count": months} if months else "",
    }
    if km and months:
        return gettext("every %(distance)s or %(months)s") % told
    return gettext("every %(interval)s") % {"interval": told["distance"] or told["months"]} if km or months else ""


def _until(figures: Figures, rule: "ServiceRule") -> str:
    told = [str(figures.day(rule.ends_on))] if rule.ends_on else []
    told += [figures.distance(rule.ends_total_km)] if rule.ends_total_km is not None else []
    return gettext("runs until %(when)s") % {"when": gettext(" or ").join(told)} if told else ""


def _part(key: str) -> str:
    found = words.catalogue().parts.get(key)
    return found.title if found else key


def _counts_from(figures: Figures, last: "ServiceDone | None", item: "DueItem | None") -> Day | None:
    """The day of a part fitted after the last time on record, told by the occurrence that counts from it."""
    if item is None or not item.period.startswith(_AFTER):
        return None
    since = date.fromisoformat(item.period.removeprefix(_AFTER))
    return figures.day(since) if last is None or since > last.done_on else None


@dataclass(frozen=True, slots=True)
class TemplateShown:
    """A template to tick."""

    key: str
    title: str
    every: str
    used: bool


def templates_shown(
    figures: Figures, fitting: Sequence[ServiceTemplate], rules: Iterable["ServiceRule"]
) -> list[TemplateShown]:
    """The templates that fit a vehicle; those it has already are told as such."""
    used = {rule.template for rule in rules}
    return [
        TemplateShown(
            entry.key, words.told(entry.title), every(figures, entry.every_km, entry.every_months), entry.key in used
        )
        for entry in fitting
    ]
