"""Pages of a list that is ranked by computing instead of by a column: the same parameters and links as cursor pages."""

import base64
import binascii
import json
from typing import Any

from rest_framework.exceptions import ValidationError
from rest_framework.response import Response
from rest_framework.utils.urls import replace_query_param

from fleetcare.support.pages import CursorPages

Mark = list[Any]
"""Where a page ends: what JSON can say, to be checked by whoever made it."""


class RankedPages:
    """`?limit=` (1 to 100, 50 if absent) and an opaque `?cursor=` of one request; ValidationError for others."""

    def __init__(self, request: Any) -> None:
        self._request = request
        self.limit: int = CursorPages().get_page_size(request)
        self.after: Mark | None = _read(request.query_params.get("cursor"))

    def answer(self, body: dict[str, Any], end: Mark | None) -> Response:
        """A page with the address of the next one; `end` is none where this is the last."""
        following = None
        if end is not None:
            here = self._request.build_absolute_uri()
            following = replace_query_param(here, "cursor", _written(end))
        headers = {"Link": f'<{following}>; rel="next"'} if following else {}
        return Response({**body, "next": following}, headers=headers)


def no_such_cursor() -> ValidationError:
    """What a cursor is answered with that this service did not hand out."""
    return ValidationError({"cursor": "This cursor is not one of ours."})


def _written(mark: Mark) -> str:
    return base64.urlsafe_b64encode(json.dumps(mark).encode()).decode()


def _read(cursor: str | None) -> Mark | None:
    if cursor is None:
        return None
    try:
        mark = json.loads(base64.b64decode(cursor, altchars=b"-_", validate=True))
    except (binascii.Error, ValueError) as error:
        raise no_such_cursor() from error
    if not isinstance(mark, list):
        raise no_such_cursor()
    return mark
