"""The tools that jobs of the catalogue name, in groups short enough to tick through."""

from collections import defaultdict
from collections.abc import Collection
from dataclasses import dataclass
from functools import lru_cache

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from fleetcare.portal.web.presenters import words
from fleetcare.portal.web.presenters.figures import Figures
from inspections.catalogue.loader import default_catalogue

EVERYWHERE = 3
"""A tool that jobs of so many systems take stands in a group of its own."""


@dataclass(frozen=True, slots=True)
class ToolShown:
    """One tool, and whether it is here."""

    id: str
    key: str
    """As it is stored."""
    word: str
    here: bool


@dataclass(frozen=True, slots=True)
class ToolGroup:
    """Tools of one system, or those of all."""

    title: str
    count: str
    tools: tuple[ToolShown, ...]


def tool_groups(figures: Figures, here: Collection[str]) -> list[ToolGroup]:
    """Every tool once; those of many systems first, then system by system."""
    groups, number = [], 0
    for system, tools in _tools_by_system():
        title = words.system(system) if system else _("Used all over the vehicle")
        shown = tuple(
            ToolShown(f"tool-{number + index}", key, words.told(key), key in here) for index, key in enumerate(tools)
        )
        number += len(tools)
        ticked = sum(tool.here for tool in shown)
        told = ngettext("%(here)s of %(count)s is here", "%(here)s of %(count)s are here", ticked)
        counted = told % {"here": figures.number(ticked), "count": figures.number(len(shown))}
        groups.append(ToolGroup(title, counted, shown))
    return groups


@lru_cache(maxsize=1)
def _tools_by_system() -> tuple[tuple[str, tuple[str, ...]], ...]:
    catalogue = default_catalogue()
    used: defaultdict[str, list[str]] = defaultdict(list)
    for entry in catalogue.jobs.values():
        for tool in entry.job.tools:
            used[tool].append(catalogue.system_of_part[entry.part.key])
    groups: defaultdict[str, list[str]] = defaultdict(list)
    for tool, systems in used.items():
        group = "" if len(set(systems)) >= EVERYWHERE else max(systems, key=systems.count)
        groups[group].append(tool)
    order = ["", *catalogue.systems]
    return tuple((key, tuple(sorted(groups[key], key=str.casefold))) for key in order if groups[key])
