"""What the account templates need."""

import json
from typing import Any

from django import template
from django.conf import settings
from django.core.serializers.json import DjangoJSONEncoder

register = template.Library()


@register.filter
def as_json(value: Any) -> str:
    """A value as JSON for a data attribute; the template escapes it. Scripts within the page are forbidden."""
    return json.dumps(value, cls=DjangoJSONEncoder)


@register.simple_tag
def sign_up_is_open() -> bool:
    """Whether anybody may make an account here."""
    return bool(settings.OPEN_SIGN_UP)
