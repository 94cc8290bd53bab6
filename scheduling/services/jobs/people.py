"""The name of whoever acts, for the record."""

from fleetcare.fleet.access import Access
from fleetcare.fleet.models import ApiKey, User


def actor_name(access: Access) -> str:
    """The member's name or address, or the key's name; empty for the software itself. One query."""
    kind, _, key = access.actor.partition(":")
    if kind == "user":
        user = User.objects.filter(pk=key).first()
        return str(user) if user else ""
    if kind == "key":
        found = ApiKey.objects.within(access.fleet).filter(pk=key).first()
        return found.name if found else ""
    return ""
