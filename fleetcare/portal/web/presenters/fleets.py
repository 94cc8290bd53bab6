"""A fleet in one line."""

import uuid
from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING

from django.utils.functional import Promise
from django.utils.translation import gettext, ngettext
from django.utils.translation import gettext_lazy as _

from fleetcare.portal.web.presenters.figures import Figures

if TYPE_CHECKING:
    from fleetcare.fleet.models import Fleet

_KINDS: Mapping[str, str | Promise] = {"household": _("household"), "club": _("club"), "workshop": _("workshop")}


@dataclass(frozen=True, slots=True)
class FleetShown:
    """A fleet to choose."""

    id: uuid.UUID
    name: str
    kind: str


def fleet_shown(fleet: "Fleet") -> FleetShown:
    """The fleet with its kind in words."""
    return FleetShown(fleet.pk, fleet.name, str(_KINDS[fleet.kind]))


@dataclass(frozen=True, slots=True)
class FleetSummary:
    """What the vehicles on a list come to; `banned` and `money` are empty where there is nothing to say."""

    vehicles: str
    banned: str
    money: str


def fleet_summary(figures: Figures, *, vehicles: int, banned: int, money: int) -> FleetSummary:
    """Sums over all vehicles that were asked for, not only those on the page."""
    facts = {"count": vehicles}
    return FleetSummary(
        vehicles=ngettext("%(count)d vehicle", "%(count)d vehicles", vehicles) % facts,
        banned=ngettext("%(count)d must not be driven", "%(count)d must not be driven", banned) % {"count": banned}
        if banned
        else "",
        money=gettext("%(amount)s waiting in jobs") % {"amount": figures.money(money)} if money else "",
    )
