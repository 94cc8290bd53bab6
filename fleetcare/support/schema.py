"""OpenAPI: every operation also documents its problem answers."""

from typing import Any

from drf_spectacular.openapi import AutoSchema
from drf_spectacular.utils import OpenApiResponse
from rest_framework import serializers


class FaultOut(serializers.Serializer[Any]):
    pointer = serializers.CharField(help_text="JSON pointer (RFC 6901) into the body.")
    code = serializers.CharField()
    detail = serializers.CharField()


class Problem(serializers.Serializer[Any]):
    """A problem document (RFC 9457)."""

    type = serializers.CharField()
    title = serializers.CharField()
    status = serializers.IntegerField()
    detail = serializers.CharField()
    instance = serializers.CharField(help_text="The id to look for in the log.")
    errors = FaultOut(many=True, required=False)  # type: ignore[assignment]  # the member is named so


_MEANINGS = {
    "400": "The input is not valid; every fault is listed with its place.",
    "401": "No key or session, or one that is no longer good.",
    "403": "Your role may not do this.",
    "404": "There is no such thing, or it is not yours.",
    "405": "The method is not known here.",
    "406": "Cannot answer in the form asked for.",
    "409": "Clashes with what is stored.",
    "412": "Changed by somebody else in the meantime.",
    "413": "The body is too large.",
    "415": "The body is not JSON.",
}
_WRITE_ONLY = {"409", "412", "413", "415"}


class ProblemSchema(AutoSchema):
    """Adds the problem answers and plain names for operations."""

    def get_tags(self) -> list[str]:
        return [getattr(self.view, "tag", "fleetcare")]

    def _get_response_bodies(self, direction: Any = "response") -> Any:
        bodies = super()._get_response_bodies(direction)
        for status, meaning in _MEANINGS.items():
            if status in bodies or (status in _WRITE_ONLY and self.method == "GET"):
                continue
            answer = OpenApiResponse(Problem, description=meaning)
            bodies[status] = self._get_response_for_code(  # type: ignore[no-untyped-call]
                answer, status, ["application/problem+json"]
            )
        return bodies
