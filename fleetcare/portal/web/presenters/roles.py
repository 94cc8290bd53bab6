"""Roles in words."""

from dataclasses import dataclass
from typing import Any

from django.utils.translation import gettext_lazy as _

from fleetcare.fleet.words import Role

_TOLD = {
    Role.VIEWER: (_("Viewer"), _("reads everything, changes nothing")),
    Role.INSPECTOR: (_("Inspector"), _("looks vehicles over, records odometer, fuel and jobs done")),
    Role.PLANNER: (_("Planner"), _("decides jobs, money and reminders, keeps vehicles and contacts")),
    Role.OWNER: (_("Owner"), _("everything, also members, keys and the fleet’s settings")),
}


@dataclass(frozen=True, slots=True)
class RoleTold:
    """A role with its name and what it may."""

    key: str
    name: Any
    may: Any


def role_told(role: str) -> RoleTold:
    """One role in words."""
    return RoleTold(role, *_TOLD[Role(role)])


def roles_told() -> list[RoleTold]:
    """Every role in words; each may what those before it may."""
    return [role_told(role) for role in Role]


def role_choices() -> list[tuple[str, Any]]:
    """Every role, to choose from."""
    return [(told.key, told.name) for told in roles_told()]
