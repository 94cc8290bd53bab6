"""Cursor pages: stable while rows are added, no counts, a Link header (RFC 8288)."""

from typing import Any

from rest_framework.exceptions import NotFound, ValidationError
from rest_framework.pagination import CursorPagination
from rest_framework.response import Response

LARGEST_PAGE = 100
_URI = {"type": ["string", "null"], "format": "uri"}


class CursorPages(CursorPagination):
    """`?limit=` (1 to 100, 50 if absent) and an opaque `?cursor=`."""

    page_size = 50
    max_page_size = LARGEST_PAGE
    page_size_query_param = "limit"
    ordering: str | tuple[str, ...] = "-id"

    def get_page_size(self, request: Any) -> int:
        text = request.query_params.get("limit", str(self.page_size))
        if not (text.isdecimal() and 1 <= int(text) <= LARGEST_PAGE):
            raise ValidationError({"limit": f"A whole number from 1 to {LARGEST_PAGE}."})
        return int(text)

    def decode_cursor(self, request: Any) -> Any:
        try:
            return super().decode_cursor(request)
        except NotFound as error:
            raise ValidationError({"cursor": "This cursor is not one of ours."}) from error

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
