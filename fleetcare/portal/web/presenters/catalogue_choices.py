"""Parts of the catalogue to choose from, by system, in the reader's words."""

from functools import cache

from django.utils.translation import get_language

from inspections.catalogue.translated import catalogue_in

Group = tuple[str, list[tuple[str, str]]]


def parts_by_system() -> tuple[Group, ...]:
    """Every part under its system's title, both in the catalogue's order."""
    return _parts(get_language() or "en")


@cache
def _parts(language: str) -> tuple[Group, ...]:
    catalogue = catalogue_in(language)
    groups: dict[str, list[tuple[str, str]]] = {}
    for key, part in catalogue.parts.items():
        groups.setdefault(catalogue.system_of_part[key], []).append((key, part.title))
    return tuple((catalogue.systems[system].title, parts) for system, parts in groups.items())
