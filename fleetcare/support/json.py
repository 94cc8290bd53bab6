"""JSON in and out: strict reading, fast writing."""

from typing import IO, Any

import orjson
from rest_framework.exceptions import ParseError
from rest_framework.parsers import BaseParser
from rest_framework.renderers import BaseRenderer

MOST_DEEP = 32
"""Levels of a body; reading one that is a thousand deep would exhaust the stack further on."""
MOST_HOLDERS = 20_000
_HOLDERS = (dict, list)
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
        body = stream.read()
        # Counted before anything is made of them; signs inside of texts count too, and there are never so many.
        if body.count(b"{") + body.count(b"[") > MOST_HOLDERS:
            raise ParseError(f"The body holds more than {MOST_HOLDERS} lists and objects.")
        try:
            value = orjson.loads(body)
        except orjson.JSONDecodeError as error:
            raise ParseError(f"The body is not JSON: {error}") from error
        if _is_deep(value):
            raise ParseError(f"The body is nested more than {MOST_DEEP} deep.")
        return value


def _is_deep(value: Any) -> bool:
    """Whether lists and objects stand in each other deeper than anything that is taken here, level by level."""
    level = [value]
    for _ in range(MOST_DEEP + 1):
        holders = [each.values() if isinstance(each, dict) else each for each in level if isinstance(each, _HOLDERS)]
        if not holders:
            return False
        level = [inner for holder in holders for inner in holder if isinstance(inner, _HOLDERS)]
    return True
