"""Every address there is, found in the resolver itself and filled in with what a fleet has."""

import re
from collections.abc import Iterator, Mapping
from typing import Any

from django.urls import URLPattern, URLResolver, get_resolver

_PLACE = re.compile(r"<(?:\w+:)?(\w+)>")
_GROUP = re.compile(r"\(\?P<(\w+)>[^)]*\)")


def patterns(resolver: URLResolver | None = None, prefix: str = "") -> Iterator[tuple[str, URLPattern]]:
    """Each route as it is written, with its pattern."""
    for entry in (resolver or get_resolver()).url_patterns:
        route = prefix + str(entry.pattern)
        if isinstance(entry, URLResolver):
            yield from patterns(entry, route)
        else:
            yield route, entry


def filled(route: str, ids: Mapping[str, Any]) -> str | None:
    """The address with every place filled in; None where something is not to be had."""
    names = _PLACE.findall(route) + _GROUP.findall(route)
    if any(name not in ids for name in names):
        return None

    def value(found: re.Match[str]) -> str:
        return str(ids[found[1]])

    plain = _GROUP.sub(value, _PLACE.sub(value, route))
    return "/" + plain.replace("^", "").replace("$", "")
