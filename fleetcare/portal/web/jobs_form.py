"""The forms of a job's steps as bodies of the API."""

from typing import TYPE_CHECKING, Any

from fleetcare.portal.web.typed import distance, number, ungrouped

if TYPE_CHECKING:
    from fleetcare.fleet.models import Fleet

_TEXTS = {
    "plan": ("planned_on", "assigned_to"),
    "start": ("assigned_to",),
    "decline": ("reason", "decided_by"),
    "defer": ("deferred_until", "reason", "decided_by"),
    "close": ("done_on", "removal", "note"),
}
_MONEY = ("labour", "parts_cost", "other")
_PART = ("description", "part_number", "warranty_until")


def body_of(step: str, form: Any, fleet: "Fleet") -> dict[str, Any]:
    """What the form of a step says, empty fields left out."""
    body: dict[str, Any] = {name: form[name].strip() for name in _TEXTS[step] if form.get(name, "").strip()}
    return {**body, **_closing(form, fleet)} if step == "close" else body


def _closing(form: Any, fleet: "Fleet") -> dict[str, Any]:
    body: dict[str, Any] = {"odometer": {"value": distance(form.get("odometer", "")), "unit": fleet.distance_unit}}
    if form.get("hours", "").strip():
        body["hours"] = number(form["hours"])
    for name in _MONEY:
        if form.get(name, "").strip():
            body[name] = {"amount": ungrouped(form[name]), "currency": fleet.currency}
    part = {name: form[name].strip() for name in _PART if form.get(name, "").strip()}
    return {**body, "parts": [{**part, "fitted": True}]} if part.get("description") else body
