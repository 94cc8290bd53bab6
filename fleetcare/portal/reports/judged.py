"""How a verdict came about, in plain sentences: what was graded by which rules, what a score is, what it rests on."""

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from django.utils.translation import gettext

from fleetcare.fleet.words import LimitScheme
from fleetcare.portal.web.presenters.figures import Figures

if TYPE_CHECKING:
    from inspections.models import Inspection

Json = dict[str, Any]


def how_it_was_judged(
    figures: Figures, scheme: str, document: Json, inspections: "Sequence[Inspection]"
) -> tuple[str, ...]:
    """One paragraph for each step from a look to the verdict. `document` is the condition (API: `condition/`)."""
    return tuple(
        paragraph
        for paragraph in (
            _grades(),
            _limits(scheme),
            _score(figures, document),
            _forecasts(),
            _people(figures, inspections),
        )
        if paragraph
    )


def _grades() -> str:
    return gettext(
        "Each result is sound or a minor, major or dangerous defect: the three categories of defect of the European "
        "roadworthiness rules (Directive 2014/45/EU), and none. The worst of what was said, measured and observed "
        "governs. A dangerous safety part forbids driving until it is put right."
    )


def _limits(scheme: str) -> str:
    whose = {
        LimitScheme.EU: gettext("the limits in force in the European Union"),
        LimitScheme.UK: gettext("the limits in force in the United Kingdom"),
        LimitScheme.US: gettext("the limits in force in the United States"),
    }[LimitScheme(scheme)]
    return gettext(
        "Measurements are held against %(whose)s, where there are such; otherwise against common practice. The "
        "maker's own limit comes first wherever it is stricter."
    ) % {"whose": whose}


def _score(figures: Figures, document: Json) -> str:
    return gettext(
        "The score falls from 100 as the yearly cost grows that the last known state of each part lets expect; parts "
        "never examined count with what such a part usually costs. Each part's share is told in points, and points "
        "and score add up to 100. The interval "
        "holds with %(level)s confidence; it is wide where little was examined or long ago (%(share)s of the vehicle "
        "counts as recently examined)."
    ) % {
        "level": figures.percent(document["interval"]["level"]),
        "share": figures.percent(document["coverage_fraction"]),
    }


def _forecasts() -> str:
    return gettext(
        "Forecasts join the measurements of this vehicle with what is known of such parts elsewhere and, where there "
        "is enough of it, in this fleet. A band holds in eight cases of ten, as far as the part is used as before."
    )


def _people(figures: Figures, inspections: "Sequence[Inspection]") -> str:
    if not inspections:
        return gettext("Nobody has inspected this vehicle yet.")
    last = inspections[0]
    names = dict.fromkeys(row.inspector for row in inspections if row.inspector)
    told = gettext("The last inspection was on %(day)s.") % {"day": figures.day(last.inspected_on)}
    if not names:
        return told
    return f"{told} " + gettext("Inspected by %(names)s.") % {"names": figures.listed(names)}
