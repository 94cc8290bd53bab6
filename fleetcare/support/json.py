"""JSON in and out: strict reading, fast writing."""

from typing import IO, Any

import orjson
from rest_framework.exceptions import ParseError
from rest_framework.parsers import BaseParser
from rest_framework.renderers import BaseRenderer

_OPTIONS = orjson.OPT_UTC_Z | orjson.OPT_NAIVE_UTC | orjson.OPT_NON_STR_KEYS


class FastJSONRenderer(BaseRenderer):
    """Writes dates, UUIDs and aware instants (as UTC with Z) without a detour."""

    media_type = "application/json"
    format = "json"
    charset = None

    def render(self, data: Any, _media_type: str | None = None, _context: Any = None) -> bytes:
        return b"" if data is None else orjson.dumps(data, default=str, option=_OPTIONS)


class ProblemRenderer(FastJSONRenderer):
    """The media type of a problem document."""

    media_type = "application/problem+json"


class StrictJSONParser(BaseParser):
    """Reads RFC 8259 JSON and nothing looser: no NaN, no broken UTF-8, no endless nesting."""

    media_type = "application/json"

    def parse(self, stream: IO[bytes], media_type: str | None = None, parser_context: Any = None) -> Any:
        try:
            return orjson.loads(stream.read())
        except orjson.JSONDecodeError as error:
            raise ParseError(f"The body is not JSON: {error}") from error
