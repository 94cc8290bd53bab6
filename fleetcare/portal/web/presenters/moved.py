"""What moved in a vehicle's list of jobs and because of what, as a page tells it."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from django.utils.functional import Promise
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, ngettext

from fleetcare.portal.web.presenters.beside import titled
from fleetcare.portal.web.presenters.figures import Day, Figures
from scheduling.core.changes import CAME, COST, FELL, POSTPONED, ROSE, WENT

Json = dict[str, Any]
_WHAT: Mapping[str, str | Promise] = {
    CAME: gettext_lazy("came onto the list"),
    WENT: gettext_lazy("left the list"),
    POSTPONED: gettext_lazy("can wait now"),
    ROSE: gettext_lazy("rose"),
    FELL: gettext_lazy("fell"),
    COST: gettext_lazy("costs otherwise"),
}
_BECAUSE: Mapping[str, str | Promise] = {
    "finding-opened": gettext_lazy("a defect was found"),
    "finding-worsened": gettext_lazy("its defect was found worse"),
    "finding-improved": gettext_lazy("its defect was found milder"),
    "finding-closed": gettext_lazy("its defect was not found again"),
    "job-done": gettext_lazy("the part was renewed"),
    "price-changed": gettext_lazy("prices or who does the work changed"),
    "life-changed": gettext_lazy("what is known of lives changed"),
    "shared-access": gettext_lazy("what it shares with another job of the list changed"),
    "driven": gettext_lazy("the vehicle was driven on"),
    "time-passed": gettext_lazy("time passed"),
}


@dataclass(frozen=True, slots=True)
class MoveShown:
    """One job that moved."""

    job: str
    what: str
    because: str
    from_to: str


@dataclass(frozen=True, slots=True)
class StepShown:
    """A day on which something moved."""

    on: Day | None
    since: Day | None
    driven: str
    moves: tuple[MoveShown, ...]
    more: str


def steps_shown(figures: Figures, document: Json) -> tuple[StepShown, ...]:
    """The steps of the API (`backlog/changes/`), the latest first."""
    return tuple(_step(figures, step) for step in document["steps"])


def _step(figures: Figures, step: Json) -> StepShown:
    more = ngettext("and %(count)s more", "and %(count)s more", step["more"]) % {"count": step["more"]}
    return StepShown(
        on=figures.day(step["on"]),
        since=figures.day(step["since"]),
        driven=figures.distance(step["driven_km"]),
        moves=tuple(_move(figures, change) for change in step["changes"]),
        more=more if step["more"] else "",
    )


def _move(figures: Figures, change: Json) -> MoveShown:
    return MoveShown(
        job=titled(change),
        what=str(_WHAT[change["what"]]),
        because="; ".join(str(_BECAUSE[cause]) for cause in change["causes"]),
        from_to=_from_to(figures, change),
    )


def _from_to(figures: Figures, change: Json) -> str:
    """Places before and after; for a cost, the sums. Empty where only one side is known."""
    before, after = change["before"], change["after"]
    if not before or not after:
        return ""
    if change["what"] == COST:
        sums = {"before": figures.money_of(before["cost_now"]), "after": figures.money_of(after["cost_now"])}
        return _("%(before)s before, %(after)s now") % sums
    return _("%(before)s before, %(after)s now") % {"before": _place(before), "after": _place(after)}


def _place(stood: Json) -> str:
    return _("place %(rank)s") % {"rank": stood["rank"]} if stood["rank"] else _("could wait")
