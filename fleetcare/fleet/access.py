"""Who may do what in which fleet. Not found and not yours are the same answer."""

import uuid
from dataclasses import dataclass
from typing import Any

from fleetcare.fleet.models import ApiKey, Fleet, Membership, User
from fleetcare.fleet.words import Role
from fleetcare.kernel.errors import Forbidden, NotFound
from fleetcare.support.doing import name_actor


@dataclass(frozen=True, slots=True)
class Access:
    """A fleet as somebody may touch it: every use-case takes one, and reaches rows only through its fleet."""

    fleet: Fleet
    role: Role
    actor: str
    """Who acts, for the record: "user:<id>" or "key:<id>"."""

    def require(self, role: Role) -> None:
        """Raises Forbidden unless the role includes `role`."""
        if not self.role.includes(role):
            raise Forbidden(f"This takes the role {role.value}; yours is {self.role.value}.")


def fleet_access(auth: Any, user: Any, fleet_id: uuid.UUID) -> Access:
    """The access of a key (`auth`) or a signed-in user to a fleet; raises NotFound where there is none."""
    if isinstance(auth, ApiKey):
        if auth.fleet_id != fleet_id:
            raise NotFound
        name_actor(f"key:{auth.pk}")
        return Access(auth.fleet, Role(auth.role), f"key:{auth.pk}")
    if not getattr(user, "is_authenticated", False):
        raise NotFound
    membership = Membership.objects.within(fleet_id).select_related("fleet").filter(user=user.pk).first()
    if membership is None:
        raise NotFound
    name_actor(f"user:{user.pk}")
    return Access(membership.fleet, Role(membership.role), f"user:{user.pk}")


def system_access(fleet: Fleet) -> Access:
    """The access of the software itself: workers, the demo, commands."""
    return Access(fleet, Role.OWNER, "system")


def signed_in_person(user: Any) -> User:
    """Whoever asks, if it is a person; raises Forbidden for a key, which belongs to one fleet and makes none."""
    if not isinstance(user, User):
        raise Forbidden("A key belongs to one fleet; a signed-in person makes fleets.")
    name_actor(f"user:{user.pk}")
    return user
