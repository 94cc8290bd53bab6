"""A check's form, kept once it was rendered: a station has up to a hundred, most of which look as they did before."""

from functools import lru_cache
from typing import Any

from django import template
from django.template.loader import render_to_string
from django.urls import reverse
from django.utils.safestring import SafeString, mark_safe
from django.utils.translation import get_language

from fleetcare.portal.web.presenters.checks import Check

register = template.Library()
KEPT_FORMS = 2048
"""Some 7 kB each."""
_SLOTS = {name: f"@@{name}@@" for name in ("csrf", "action", "photo_action", "know_how", "station")}
"""What differs from walk to walk and from request to request is put into the kept form afterwards."""


@register.simple_tag(takes_context=True)
def check_form(context: Any, check: Check, following: str) -> SafeString:
    """The form of a check; `following` is the anchor that skipping leads to."""
    html = _form(get_language() or "en", context["layout"], check, following)
    for name, words in _slots_of(context).items():
        html = html.replace(_SLOTS[name], words)
    return mark_safe(html)  # noqa: S308 - the template escaped it; tokens, addresses and keys of stations hold no markup


def _slots_of(context: Any) -> dict[str, str]:
    """What is put into every form of a page, found once."""
    found: dict[str, str] | None = context.render_context.get(_SLOTS["action"])
    if found is None:
        walk = [context["fleet"].pk, context["vehicle"].id, context["walk"].id]
        found = context.render_context[_SLOTS["action"]] = {
            "csrf": str(context["csrf_token"]),
            "action": reverse("walk-station", args=[*walk, context["station"].key]),
            "photo_action": reverse("walk-photo", args=walk),
            "know_how": reverse("know-how", args=walk[:2]),
            "station": context["station"].key,
        }
    return found


@lru_cache(maxsize=KEPT_FORMS)
def _form(language: str, layout: str, check: Check, following: str) -> str:
    """The form in a language, with slots; the same check looks the same for everybody."""
    said = {"check": check, "following": following, "layout": layout, "slots": _SLOTS}
    return render_to_string("portal/walk/_check.html", said)
