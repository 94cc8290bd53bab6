"""The API's description, as it is committed: making it anew for every stranger who asks would take seconds each."""

import json
from functools import cache
from typing import Any

import yaml
from django.conf import settings
from django.http import HttpResponse
from drf_spectacular.utils import extend_schema
from rest_framework.request import Request
from rest_framework.views import APIView

from fleetcare.kernel.errors import InvalidInput
from fleetcare.support.negotiation import FilesAsTheyAre

FORMATS = {"yaml": "application/yaml", "json": "application/json"}


@cache
def description(form: str) -> bytes:
    """The committed description as YAML or JSON; a test holds it against what the code would say."""
    text: bytes = (settings.BASE_DIR / "openapi.yaml").read_bytes()
    if form == "yaml":
        return text
    loader = getattr(yaml, "CSafeLoader", yaml.SafeLoader)
    return json.dumps(yaml.load(text, Loader=loader), ensure_ascii=False, separators=(",", ":")).encode()  # noqa: S506  # both loaders are safe ones


@extend_schema(exclude=True)
class DescriptionView(APIView):
    """Public, and the same for everybody."""

    content_negotiation_class = FilesAsTheyAre
    authentication_classes: Any = []
    permission_classes: Any = []

    def get(self, request: Request) -> HttpResponse:
        form = request.GET.get("format", "yaml")
        if form not in FORMATS:
            raise InvalidInput.at("/format", "unknown", f"One of {', '.join(FORMATS)}.")
        answer = HttpResponse(description(form), content_type=FORMATS[form])
        answer["Content-Disposition"] = f'inline; filename="fleetcare-openapi.{form}"'
        return answer
