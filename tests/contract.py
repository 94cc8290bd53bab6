"""A test client that holds every answer against the OpenAPI description, and every error against RFC 9457."""

import functools
import json
import re
from decimal import Decimal
from typing import Any

from drf_spectacular.generators import SchemaGenerator
from jsonschema_rs import Draft202012Validator, Registry
from rest_framework.test import APIClient

_ADDRESS = "urn:fleetcare:openapi"


@functools.lru_cache(maxsize=1)
def openapi() -> dict[str, Any]:
    """The description, as a client would download it."""
    schema = SchemaGenerator().get_schema(request=None, public=True)
    # Limits are numbers, as in the file; everything else that JSON does not know is text.
    return json.loads(json.dumps(schema, default=lambda each: float(each) if isinstance(each, Decimal) else str(each)))


@functools.lru_cache(maxsize=1)
def _routes() -> list[tuple[re.Pattern[str], str]]:
    paths = openapi()["paths"]
    return [(re.compile(re.sub(r"\{[^}]+\}", "[^/]+", path) + "$"), path) for path in paths]


def template_of(path: str) -> str | None:
    """The described path that an address belongs to."""
    exact = [template for pattern, template in _routes() if pattern.match(path)]
    return min(exact, key=lambda template: template.count("{")) if exact else None


def check_answer(method: str, path: str, response: Any) -> None:
    """Raises AssertionError where status, media type or body is not as described."""
    kind = response.headers.get("Content-Type", "")
    template = template_of(path)
    if template is None:
        assert response.status_code == 404
        assert kind == "application/problem+json"
        return
    operation = openapi()["paths"][template].get(method.lower())
    if operation is None:
        assert response.status_code in {401, 404, 405}, f"{method} {template} is not described"
        return
    described = operation["responses"].get(str(response.status_code))
    assert described is not None, f"{method} {template} answered {response.status_code}, which is not described"
    content = described.get("content")
    if not content:
        assert response.content == b""
        return
    assert kind in content, f"{method} {template} answered {kind}"
    if content[kind]["schema"].get("format") == "binary":
        # A stream is read once, by whoever asked for it.
        assert response.streaming or response.content
        return
    validator = _validator(template, method.lower(), response.status_code, kind)
    faults = [
        f"{'/'.join(map(str, e.instance_path))}: {e.message[:200]}" for e in validator.iter_errors(response.json())
    ]
    assert not faults, f"{method} {template} {response.status_code}: {faults[:5]}"


@functools.lru_cache(maxsize=1)
def _registry() -> Registry:
    return Registry([(_ADDRESS, openapi())])


@functools.lru_cache(maxsize=1024)
def _validator(template: str, method: str, status: int, kind: str) -> Draft202012Validator:
    place = "/".join(
        step.replace("~", "~0").replace("/", "~1").replace("{", "%7B").replace("}", "%7D")
        for step in ("paths", template, method, "responses", str(status), "content", kind, "schema")
    )
    return Draft202012Validator({"$ref": f"{_ADDRESS}#/{place}"}, registry=_registry(), validate_formats=True)


class ContractClient(APIClient):
    """JSON by default, each answer checked."""

    default_format = "json"

    def generic(self, method: str, path: str, *args: Any, **kwargs: Any) -> Any:
        response = super().generic(method, path, *args, **kwargs)
        if path.startswith("/api/v1/") and not path.startswith("/api/v1/schema/"):
            check_answer(method, path.partition("?")[0], response)
        return response
