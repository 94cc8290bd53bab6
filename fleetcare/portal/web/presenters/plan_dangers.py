"""What stays dangerous under a plan, vehicle by vehicle: until when not to drive it, and because of which parts."""

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from django.utils.translation import gettext as _

from fleetcare.portal.web.presenters import words
from fleetcare.portal.web.presenters.figures import Figures

Json = dict[str, Any]


@dataclass(frozen=True, slots=True)
class DangerShown:
    """One vehicle that is not to be driven."""

    vehicle: str
    vehicle_id: str
    say: str
    parts: str


def dangers_shown(figures: Figures, warnings: Sequence[Json], names: Mapping[str, str]) -> tuple[DangerShown, ...]:
    """Vehicles that no visit makes safe first, then by the day of the last visit that does."""
    found: defaultdict[str, list[Json]] = defaultdict(list)
    for warning in warnings:
        found[warning["vehicle"]].append(warning)
    told = [_danger(figures, vehicle, each, names) for vehicle, each in found.items()]
    return tuple(shown for _rank, shown in sorted(told, key=lambda each: each[0]))


def _danger(
    figures: Figures, vehicle: str, warnings: list[Json], names: Mapping[str, str]
) -> tuple[tuple[bool, str], DangerShown]:
    staying = [each for each in warnings if each["date"] is None]
    last = max((each["date"] for each in warnings if each["date"]), default="")
    say = (
        _("Do not drive: no visit of this plan puts this right.")
        if staying
        else _("Do not drive before the visit on %(day)s.") % {"day": figures.day(last)}
    )
    parts = "; ".join(dict.fromkeys(_part(each) for each in staying or warnings))
    return (not staying, last), DangerShown(names.get(vehicle, ""), vehicle, say, parts)


def _part(warning: Json) -> str:
    part = words.catalogue().parts.get(warning["part"])
    return words.at_place(part.title if part else warning["part"], words.place(warning["position"]))
