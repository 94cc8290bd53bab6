"""Who does a job and why it is given away, in the reader's words."""

from collections.abc import Iterable, Mapping
from functools import lru_cache

from django.utils.functional import Promise
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from fleetcare.fleet.words import Doer
from fleetcare.portal.web.presenters import words
from inspections.catalogue.prices import JobFigures
from inspections.core.job_costs import Range
from scheduling.services.options import done_by_reasons

_MISSING_TOOL = "missing-tool"
_WHY: Mapping[str, str | Promise] = {
    "licensed": gettext_lazy("this work takes a licence"),
    "too-difficult": gettext_lazy("harder than what is done here"),
    "no-stands": gettext_lazy("there is nothing here to keep the vehicle safely off the ground"),
    "chosen": gettext_lazy("the fleet gives it to a workshop"),
}


def doer(done_by: str) -> str:
    """Who does a job."""
    return _("a workshop") if done_by == Doer.WORKSHOP else _("own hands")


def why_away(codes: Iterable[str], missing_tools: Iterable[str]) -> str:
    """Why a job is given away; empty where it is not."""
    told = [str(_WHY[code]) for code in codes if code != _MISSING_TOOL]
    missing = list(missing_tools)
    if missing:
        told.append(_("missing here: %(tools)s") % {"tools": ", ".join(words.told(tool) for tool in missing)})
    return "; ".join(told)


def why_told(sentences: Iterable[str]) -> str:
    """The same of the sentences that a backlog carries."""
    codes, tools = [], []
    for sentence in sentences:
        code = _codes().get(sentence)
        if code:
            codes.append(code)
        else:
            tools.append(sentence.removeprefix(_missing_begins()))
    return why_away(codes, tools)


@lru_cache(maxsize=1)
def _codes() -> Mapping[str, str]:
    return {done_by_reasons(_given_away(code))[0]: code for code in _WHY}


@lru_cache(maxsize=1)
def _missing_begins() -> str:
    return done_by_reasons(_given_away(_MISSING_TOOL))[0]


def _given_away(code: str) -> JobFigures:
    nothing = Range(0.0, 0.0, 0.0)
    return JobFigures(nothing, nothing, 0.0, Doer.WORKSHOP, (code,))
