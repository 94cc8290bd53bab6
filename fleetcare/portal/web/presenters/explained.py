"""Everything the figures about one part rest on, as a page tells it."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from django.utils.functional import Promise
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from fleetcare.portal.web.presenters import words
from fleetcare.portal.web.presenters.figures import Figures

Json = dict[str, Any]
_COSTS: Mapping[str, str | Promise] = {
    "planned_job": gettext_lazy("The job, planned"),
    "failure": gettext_lazy("Failing on the road"),
    "major_per_1000_km": gettext_lazy("1,000 km driven while major"),
    "dangerous_per_1000_km": gettext_lazy("1,000 km driven while dangerous"),
    "next_year": gettext_lazy("Expected over the next twelve months"),
}


@dataclass(frozen=True, slots=True)
class Explained:
    """One part: what is expected of it, and what that comes from, as pairs of what and how much."""

    title: str
    grade: words.GradeShown
    points: str
    expected: tuple[tuple[str, str], ...]
    looks: tuple[tuple[str, words.GradeShown], ...]
    life: tuple[tuple[str, str], ...]
    clock: tuple[tuple[str, str], ...]
    usage: tuple[tuple[str, str], ...]
    costs: tuple[tuple[str, str], ...]
    source: str
    digest: str


def explained(figures: Figures, document: Json) -> Explained:
    """The explanation document (API: `condition/explain/`)."""
    return Explained(
        title=words.at_place(words.told(document["title"]), words.place(document["position"])),
        grade=words.grade(document["grade"]),
        points=figures.number(document["points"], 2),
        expected=_expected(figures, document["expected"]),
        looks=tuple(_look(figures, each) for each in document["looks"]),
        life=_life(figures, document["life"]),
        clock=_clock(figures, document["clock"]),
        usage=_usage(figures, document["usage"]),
        costs=tuple((str(title), figures.money_of(document["costs"][key])) for key, title in _COSTS.items()),
        source=words.told(document["life"]["source"]),
        digest=document["digest"][:16],
    )


def _expected(figures: Figures, expected: Json) -> tuple[tuple[str, str], ...]:
    fails = expected["fails"]
    told = [(_("Fails within a year"), figures.percent(expected["failure_chance_next_year_fraction"]))]
    if expected["next_grade_on"]:
        told.append((_("Next grade expected on"), str(figures.day(expected["next_grade_on"]))))
    if fails["expected"]:
        told.append((_("Failure expected on"), _span(figures, fails)))
    return tuple(told)


def _span(figures: Figures, fails: Json) -> str:
    days = {name: figures.day(fails[name]) for name in ("early", "expected", "late")}
    if not (days["early"] and days["late"]):
        return str(days["expected"])
    return _("%(expected)s (8 in 10: %(early)s to %(late)s)") % days


def _look(figures: Figures, look: Json) -> tuple[str, words.GradeShown]:
    return figures.distance(look["clock_km"], step=100), words.grade(look["grade"])


def _life(figures: Figures, life: Json) -> tuple[tuple[str, str], ...]:
    told = [
        (_("Typical life"), figures.distance(life["life_km"], step=100)),
        (_("Spread"), figures.percent(life["life_cv"])),
        (_("From the first sign to failure"), figures.distance(life["first_sign_to_failure_km"], step=100)),
        (_("Share of wear by distance, the rest by age"), figures.percent(life["km_weight"])),
        (_("A year of age counts as"), figures.distance(life["km_per_year_of_age"], step=100)),
    ]
    if life["model_factor"] != 1.0:
        told.append((_("This model lasts, against others"), figures.percent(life["model_factor"])))
    return tuple(told)


def _clock(figures: Figures, clock: Json) -> tuple[tuple[str, str], ...]:
    fitted = clock["fitted_clock_km"]
    known = _("as bought, history unknown") if fitted is None else figures.distance(fitted, step=100)
    return (
        (_("Fitted at"), known),
        (_("Now at"), figures.distance(clock["now_clock_km"], step=100)),
        (_("A month adds"), figures.distance(clock["clock_km_per_month"], step=10)),
        (_("Since the last look"), figures.distance(clock["since_look_km"], step=100)),
    )


def _usage(figures: Figures, usage: Json) -> tuple[tuple[str, str], ...]:
    year = {name: figures.distance(usage["km_per_year"][name], step=100) for name in ("low", "expected", "high")}
    return (
        (_("Driven a year"), _("%(expected)s (8 in 10: %(low)s to %(high)s)") % year),
        (_("Odometer readings it rests on"), figures.number(usage["readings"])),
    )
