"""Keeping or replacing as a page tells it: the verdict in sentences, both sides term by term, what it rests on."""

from collections.abc import Collection, Mapping
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from django.utils.functional import Promise
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, ngettext

from fleetcare.portal.web.presenters import words
from fleetcare.portal.web.presenters.figures import Figures
from fleetcare.portal.web.presenters.rule import LONGEST, Rule, rule
from inspections.core.looking import LOOK_EVERY_KM
from scheduling.services.keep_or_replace.comparing import MOSTLY_FRACTION

Json = dict[str, Any]
_TERMS: Mapping[str, str | Promise] = {
    "worth-now": gettext_lazy("What it would fetch today"),
    "repair-bill": gettext_lazy("Repair bill now"),
    "price": gettext_lazy("Its price"),
    "worth-then": gettext_lazy("What it fetches at the end"),
    "jobs": gettext_lazy("Repairs"),
    "risk": gettext_lazy("Failures on the road, driving in a bad state"),
    "fuel": gettext_lazy("Fuel or current"),
    "other": gettext_lazy("Tax, insurance, parking"),
}
_RECKONED = {"jobs": "jobs_per_year", "risk": "jobs_per_year", "fuel": "fuel_per_year"}
"""Terms that are reckoned where the user does not say them, with the field that says them."""


@dataclass(frozen=True, slots=True)
class TermShown:
    """One term of a side: what it takes a year and where that comes from."""

    name: str
    likely: str
    between: str
    source: str


@dataclass(frozen=True, slots=True)
class SideShown:
    """What one of the two costs a year."""

    title: str
    likely: str
    between: str
    rule: Rule
    years: str
    terms: tuple[TermShown, ...]


@dataclass(frozen=True, slots=True)
class KeepingShown:
    """The whole answer."""

    verdict: str
    bill: str
    certain: bool
    sides: tuple[SideShown, ...]
    scale_end: str
    repair_bill: str
    repair_between: str
    break_even: str
    break_even_between: str
    jobs: tuple[str, ...]
    unseen: str
    unseen_mostly: bool
    nothing_done: str
    km_a_year: str
    disclaimer: str


def keeping_shown(figures: Figures, document: Json, asked: Json) -> KeepingShown:
    """The answer of the API (`keep-or-replace/`) to what was `asked`, its body."""
    keep, other = document["keep"]["annual_cost"], document["replace"]["annual_cost"]
    most = max(_amount(keep["high"]), _amount(other["high"]), Decimal(1))
    bill, even, unseen = document["repair_bill"], document["break_even_bill"], document["unseen_parts"]
    shown = _Sides(figures, most, figures.distance(document["km_per_year"]))
    return KeepingShown(
        verdict=_verdict(figures, document["better"], keep, other),
        bill=_break_even_sentence(figures, even),
        certain=document["better"] != "too-close",
        sides=(
            shown.side(_("Keep"), document["keep"], asked["keep"], document["repair_jobs"]),
            shown.side(_("Replace"), document["replace"], asked["replace"], ()),
        ),
        scale_end=figures.money_of({"amount": str(most), "currency": figures.currency}),
        repair_bill=figures.money_of(bill["likely"]),
        repair_between=_between(figures, bill),
        break_even=figures.money_of(even["likely"]) if _amount(even["likely"]) > 0 else "",
        break_even_between=_between(figures, even),
        jobs=tuple(
            ", ".join(filter(None, [words.told(job["title"]), words.places(job["positions"])]))
            for job in document["repair_jobs"]
        ),
        unseen=_unseen(figures, unseen),
        unseen_mostly=unseen["parts"] > MOSTLY_FRACTION * unseen["of"],
        nothing_done=figures.money_of(document["judged_next_year"]),
        km_a_year=figures.distance(document["km_per_year"]),
        disclaimer=words.told(document["disclaimer"]),
    )


def _verdict(figures: Figures, better: str, keep: Json, other: Json) -> str:
    told = {
        "keep": _("Keeping is cheaper: about %(keep)s a year against %(other)s."),
        "replace": _("Replacing is cheaper: about %(other)s a year against %(keep)s."),
        "too-close": _("Too close to call: about %(keep)s a year for keeping, %(other)s for replacing."),
    }[better]
    return told % {"keep": figures.money_of(keep["likely"]), "other": figures.money_of(other["likely"])}


def _break_even_sentence(figures: Figures, even: Json) -> str:
    if _amount(even["likely"]) <= 0:
        return _("Replacing is cheaper even if there were nothing to repair.")
    return _("Repairing is worth it up to a bill of about %(bill)s.") % {"bill": figures.money_of(even["likely"])}


def _unseen(figures: Figures, unseen: Json) -> str:
    told = ngettext(
        "%(count)s of %(parts)s parts was never looked at; what it will take is a guess by age and distance.",
        "%(count)s of %(parts)s parts were never looked at; what they will take is a guess by age and distance.",
        unseen["parts"],
    )
    return told % {"count": figures.number(unseen["parts"]), "parts": figures.number(unseen["of"])}


class _Sides:
    """Both sides on one scale."""

    def __init__(self, figures: Figures, most: Decimal, distance: str) -> None:
        self.figures, self.most, self.distance = figures, most, distance

    def side(self, title: str, side: Json, said: Collection[str], jobs: Collection[Json]) -> SideShown:
        annual, years = side["annual_cost"], side["years"]
        on_scale = {name: float(_amount(annual[name]) / self.most) * LONGEST for name in ("low", "likely", "high")}
        return SideShown(
            title=title,
            likely=self.figures.money_of(annual["likely"]),
            between=_between(self.figures, annual),
            rule=rule(on_scale["likely"], on_scale["low"], on_scale["high"]),
            years=ngettext("over %(years)s year", "over %(years)s years", int(years))
            % {"years": self.figures.number(years, 0 if float(years).is_integer() else 1)},
            terms=tuple(self._term(each, said, len(jobs)) for each in side["terms"]),
        )

    def _term(self, term: Json, said: Collection[str], jobs: int) -> TermShown:
        span = term["a_year"]
        return TermShown(
            name=str(_TERMS[term["term"]]),
            likely=self.figures.money_of(span["likely"]),
            between=_between(self.figures, span),
            source=self._source(term["term"], said, jobs),
        )

    def _source(self, term: str, said: Collection[str], jobs: int) -> str:
        """Where a term comes from, by what was said and what was left to be reckoned."""
        if term == "repair-bill":
            told = ngettext("%(count)s job of the list", "%(count)s jobs of the list", jobs)
            return told % {"count": self.figures.number(jobs)} if jobs else _("nothing is worth doing now")
        if term not in _RECKONED or _RECKONED[term] in said:
            return _("as you say")
        if term == "fuel":
            return _("what it burns, at %(distance)s a year") % {"distance": self.distance}
        if "age_years" in said:
            return _("what parts of such a vehicle usually take at that age and distance")
        told = _("what the judge expects of every part after these jobs, looked at every %(distance)s")
        return told % {"distance": self.figures.distance(LOOK_EVERY_KM, step=100)}


def _between(figures: Figures, span: Json) -> str:
    low, high = figures.money_of(span["low"]), figures.money_of(span["high"])
    return "" if low == high else _("%(low)s to %(high)s") % {"low": low, "high": high}


def _amount(money: Json) -> Decimal:
    return Decimal(money["amount"])
