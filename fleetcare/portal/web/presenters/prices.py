"""What a fleet pays for the jobs of the catalogue as a page tells it: the fleet's word, the catalogue's, the lesson."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING

from django.utils.functional import Promise
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, ngettext

from fleetcare.portal.web.presenters.figures import Figures
from fleetcare.portal.web.presenters.hands import doer, why_away
from inspections.catalogue.loader import default_catalogue
from inspections.catalogue.prices import OwnFigures
from inspections.core.job_costs import Range, usual_hours

if TYPE_CHECKING:
    from inspections.catalogue.catalogue import PartJob
    from inspections.catalogue.prices import PriceBook

_SCOPES: Mapping[str, str | Promise] = {
    "position": gettext_lazy("for one place"),
    "axle": gettext_lazy("for one axle"),
    "vehicle": gettext_lazy("for the whole vehicle"),
}


@dataclass(frozen=True, slots=True)
class Spread:
    """A usual figure and what four such jobs in five lie between."""

    likely: str
    between: str
    """Empty where there is no spread to tell."""


@dataclass(frozen=True, slots=True)
class PriceShown:
    """One job of the catalogue with what it is reckoned to take here."""

    key: str
    title: str
    part: str
    scope: str
    parts: Spread
    hours: Spread
    own: bool
    """The fleet said something of it."""
    learned: str
    """On how many closed jobs the figures rest; empty for none."""
    who: str
    because: str


@dataclass(frozen=True, slots=True)
class PriceSources:
    """Where a job's figures come from, side by side."""

    catalogue_parts: Spread
    catalogue_hours: Spread
    own_parts: Spread | None
    own_hours: str
    taught_hours: str
    taught_parts: str
    taught_count: str


def price_shown(figures: Figures, book: "PriceBook", entry: "PartJob") -> PriceShown:
    """A job in the list."""
    found = book.of(default_catalogue(), entry.key)
    return PriceShown(
        key=entry.key,
        title=entry.job.title,
        part=entry.part.title,
        scope=str(_SCOPES[entry.job.scope]),
        parts=_money_spread(figures, found.parts_minor),
        hours=_hours_spread(figures, found.hours),
        own=entry.key in book.own,
        learned=closed_count(figures, found.closed_jobs),
        who=doer(found.done_by),
        because=why_away(found.why, found.missing_tools),
    )


def prices_shown(figures: Figures, book: "PriceBook", entries: "Iterable[PartJob]") -> list[PriceShown]:
    """Jobs in the list."""
    return [price_shown(figures, book, entry) for entry in entries]


def sources_shown(figures: Figures, book: "PriceBook", entry: "PartJob") -> PriceSources:
    """The catalogue's figure, the fleet's own, and what closed jobs took."""
    euros, said = entry.job.parts_eur, book.own.get(entry.key, OwnFigures())
    listed = Range(euros.low, euros.typical, euros.high).times(book.minor_per_euro)
    taken = book.taken.get(entry.key)
    hours, parts = (taken.hours, taken.parts_minor) if taken else ((), ())
    return PriceSources(
        catalogue_parts=_money_spread(figures, listed),
        catalogue_hours=_hours_spread(figures, usual_hours(entry.job.hours)),
        own_parts=_money_spread(figures, said.parts_minor) if said.parts_minor else None,
        own_hours="" if said.hours is None else figures.hours(said.hours),
        taught_hours=_span([figures.hours(each) for each in sorted(hours)]),
        taught_parts=_span([figures.money(round(each)) for each in sorted(parts)]),
        taught_count=closed_count(figures, max(len(hours), len(parts))),
    )


def closed_count(figures: Figures, count: int) -> str:
    """On how many closed jobs something rests; empty for none."""
    if not count:
        return ""
    return ngettext("%(count)s closed job", "%(count)s closed jobs", count) % {"count": figures.number(count)}


def spread(low: str, likely: str, high: str) -> Spread:
    """Three figures as they are told."""
    return Spread(likely, "" if low == high else _("%(low)s to %(high)s") % {"low": low, "high": high})


def _money_spread(figures: Figures, found: Range) -> Spread:
    return spread(*(figures.money(round(each)) for each in (found.low, found.likely, found.high)))


def _hours_spread(figures: Figures, found: Range) -> Spread:
    return spread(*(figures.hours(each) for each in (found.low, found.likely, found.high)))


def _span(told: list[str]) -> str:
    """The least and the most of figures in their order; one where they are alike."""
    if not told:
        return ""
    return told[0] if told[0] == told[-1] else _("%(low)s to %(high)s") % {"low": told[0], "high": told[-1]}
