"""OpenAPI: every operation also documents its problem answers."""

from typing import Any

from drf_spectacular.openapi import AutoSchema
from drf_spectacular.utils import OpenApiParameter, OpenApiResponse
from rest_framework import serializers

from fleetcare.support.idempotency import HEADER, LONGEST_KEY


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
    "422": "The Idempotency-Key stands for another request.",
    "428": "Say with If-Match which state this replaces.",
    "429": "Too many requests; Retry-After says how many seconds to wait.",
}
_WRITE_ONLY = {"409", "412", "413", "415"}
_ONLY_OF = {"422": "POST", "428": "PUT"}
_KEY_HEADER = OpenApiParameter(
    HEADER,
    {"type": "string", "minLength": 1, "maxLength": LONGEST_KEY, "pattern": "^[ -~]+$"},
    OpenApiParameter.HEADER,
    description="A fresh word for what is asked for. Repeated within 48 hours with the same address and body, the "
    "request is done once and answered each time with the same bytes; answers given again carry "
    "`Idempotency-Replayed: true`. While the first is at work: 409.",
)
_MATCH_HEADER = OpenApiParameter(
    "If-Match",
    str,
    OpenApiParameter.HEADER,
    description="The ETag that was read. A stale one is refused with 412; a PUT over what is stored needs one.",
)
_NONE_MATCH_HEADER = OpenApiParameter(
    "If-None-Match",
    str,
    OpenApiParameter.HEADER,
    description="The ETag of what you have; where that is still so, the answer is 304 without a body.",
)


class ProblemSchema(AutoSchema):
    """Adds the problem answers and plain names for operations."""

    def get_tags(self) -> list[str]:
        return [getattr(self.view, "tag", "fleetcare")]

    def get_override_parameters(self) -> list[Any]:
        by_method = {"POST": [_KEY_HEADER], "GET": [_NONE_MATCH_HEADER]}
        return by_method.get(self.method, [_MATCH_HEADER])

    def _get_response_bodies(self, direction: Any = "response") -> Any:
        bodies = super()._get_response_bodies(direction)
        for status, meaning in _MEANINGS.items():
            if status in bodies or (status in _WRITE_ONLY and self.method == "GET"):
                continue
            if _ONLY_OF.get(status, self.method) != self.method:
                continue
            answer = OpenApiResponse(Problem, description=meaning)
            bodies[status] = self._get_response_for_code(  # type: ignore[no-untyped-call]
                answer, status, ["application/problem+json"]
            )
        if self.method == "GET":
            bodies["304"] = {"description": "You have it already."}
        return bodies
