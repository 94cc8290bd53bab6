"""Cursor pages: stable while rows are added, no counts, a Link header (RFC 8288)."""

import re
from typing import Any

from django.core.exceptions import ValidationError as Unconvertible
from django.db import DataError
from rest_framework.exceptions import NotFound, ValidationError
from rest_framework.pagination import CursorPagination
from rest_framework.response import Response

LARGEST_PAGE = 100
_LONGEST_CURSOR = 4_000
_NOT_OURS = {"cursor": "This cursor is not one of ours."}
_COUNT = re.compile("[0-9]{1,3}")
_URI = {"type": ["string", "null"], "format": "uri"}


class CursorPages(CursorPagination):
    """`?limit=` (1 to 100, 50 if absent) and an opaque `?cursor=`."""

    page_size = 50
    max_page_size = LARGEST_PAGE
    page_size_query_param = "limit"
    ordering: str | tuple[str, ...] = "-id"

    def get_page_size(self, request: Any) -> int:
        text = request.query_params.get("limit", str(self.page_size))
        if not (_COUNT.fullmatch(text) and 1 <= int(text) <= LARGEST_PAGE):
            raise ValidationError({"limit": f"A whole number from 1 to {LARGEST_PAGE}."})
        return int(text)

    def begin(self, request: Any, items: list[dict[str, Any]], ordering: tuple[str, ...]) -> None:
        """Makes the first page of items that were read already, one more than fits if there are more."""
        self.request, self.base_url, self.ordering, self.cursor = request, request.build_absolute_uri(), ordering, None
        self.page, self.has_next, self.has_previous = items[: self.page_size], len(items) > self.page_size, False
        if self.has_next:
            self.next_position = self._get_position_from_instance(items[self.page_size], ordering)

    def decode_cursor(self, request: Any) -> Any:
        text = request.query_params.get("cursor", "")
        try:
            found = super().decode_cursor(request) if len(text) <= _LONGEST_CURSOR else None
        except NotFound as error:
            raise ValidationError(_NOT_OURS) from error
        # What reads as no position, no way back and no offset is noise: it would be the first page again.
        if "cursor" in request.query_params and (found is None or not any(found)):
            raise ValidationError(_NOT_OURS)
        return found

    def paginate_queryset(self, queryset: Any, request: Any, view: Any = None) -> Any:
        try:
            return super().paginate_queryset(queryset, request, view)
        except (ValueError, OverflowError, DataError, Unconvertible) as error:
            # A cursor holds a value of the column that is ordered by; one that was made up need not be one.
            if "cursor" not in request.query_params:
                raise
            raise ValidationError(_NOT_OURS) from error

    def get_paginated_response(self, data: Any) -> Response:
        following, preceding = self.get_next_link(), self.get_previous_link()
        links = [f'<{url}>; rel="{rel}"' for url, rel in ((following, "next"), (preceding, "prev")) if url]
        headers = {"Link": ", ".join(links)} if links else {}
        return Response({"items": data, "next": following, "previous": preceding}, headers=headers)

    def get_paginated_response_schema(self, schema: dict[str, Any]) -> dict[str, Any]:
        return {
            "type": "object",
            "required": ["items", "next", "previous"],
            "properties": {"items": schema, "next": _URI, "previous": _URI},
        }
