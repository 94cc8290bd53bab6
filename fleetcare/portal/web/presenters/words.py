"""The catalogue's keys in the reader's words; a key that the catalogue has lost is shown as it is."""

import re
import unicodedata
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import lru_cache

from django.template.loader import render_to_string
from django.utils.functional import Promise
from django.utils.safestring import SafeString
from django.utils.translation import get_language, gettext, pgettext
from django.utils.translation import gettext_lazy as _

from fleetcare.kernel.grades import Grade
from fleetcare.support.told import told as told
from inspections.catalogue.catalogue import Catalogue
from inspections.catalogue.translated import catalogue_in

_GRADES: Mapping[str, str | Promise] = {
    "sound": _("sound"),
    "minor": _("minor"),
    "major": _("major"),
    "dangerous": _("dangerous"),
}
_PLACES: Mapping[str, str | Promise] = {
    "front-left": _("front left"),
    "front-right": _("front right"),
    "rear-left": _("rear left"),
    "rear-right": _("rear right"),
    "front": _("front"),
    "rear": _("rear"),
    "left": _("left"),
    "right": _("right"),
    "bank-1-before-catalyst": _("bank 1, before the catalyst"),
    "bank-1-after-catalyst": _("bank 1, after the catalyst"),
    "bank-2-before-catalyst": _("bank 2, before the catalyst"),
    "bank-2-after-catalyst": _("bank 2, after the catalyst"),
}
_CYLINDER = "cylinder-"
_DIFFICULTIES: Mapping[int, str | Promise] = {
    1: _("a first job"),
    2: _("easy with common tools"),
    3: _("needs practice"),
    4: _("hard"),
    5: _("for a workshop"),
}


def catalogue() -> Catalogue:
    """The catalogue in the reader's language: the same keys and figures."""
    return catalogue_in(get_language() or "en")


@dataclass(frozen=True, slots=True)
class GradeShown:
    """A grade by its key, which chooses mark and colour, and its word."""

    key: str
    word: str

    @property
    def drawn(self) -> SafeString:
        """Mark and word as `portal/_grade.html` draws them, drawn once for each grade and language."""
        return _drawn(self)


@lru_cache(maxsize=64)
def _drawn(shown: GradeShown) -> SafeString:
    return render_to_string("portal/_grade.html", {"grade": shown})


NOT_EXAMINED = "not-examined"


def grade(value: str | int | None) -> GradeShown:
    """A grade by word or number; None is "not examined"."""
    if value is None:
        return GradeShown(NOT_EXAMINED, gettext("not examined"))
    key = value if isinstance(value, str) else Grade(value).word
    return GradeShown(key, str(_GRADES[key]))


def place(position: str | None) -> str:
    """Where on the vehicle; empty where the part has one place."""
    if not position:
        return ""
    if position.startswith(_CYLINDER):
        return gettext("cylinder %(number)s") % {"number": position.removeprefix(_CYLINDER)}
    return str(_PLACES.get(position, position.replace("-", " ")))


def places(positions: Iterable[str]) -> str:
    """Several places, the four corners and the pairs of an axle or a side told as one."""
    found = tuple(position for position in positions if position)
    together = _TOGETHER.get(frozenset(found))
    if together:
        return str(together)
    if len(found) > 1 and all(position.startswith(_CYLINDER) for position in found):
        numbers = ", ".join(position.removeprefix(_CYLINDER) for position in found)
        return gettext("cylinders %(numbers)s") % {"numbers": numbers}
    return ", ".join(place(position) for position in found)


_TOGETHER: Mapping[frozenset[str], str | Promise] = {
    frozenset({"front-left", "front-right", "rear-left", "rear-right"}): _("all four corners"),
    frozenset({"front-left", "front-right"}): _("front, both sides"),
    frozenset({"rear-left", "rear-right"}): _("rear, both sides"),
    frozenset({"left", "right"}): _("both sides"),
    frozenset({"front", "rear"}): _("front and rear"),
}


def at_place(title: str, where: str) -> str:
    """A thing and where it is."""
    return (
        pgettext("a thing, and where it is", "%(title)s, %(place)s") % {"title": title, "place": where}
        if where
        else title
    )


def system(key: str) -> str:
    """The title of a system."""
    found = catalogue().systems.get(key)
    return found.title if found else key


def system_of_check(check_key: str) -> str:
    """The key of the system that a check looks at; empty for one the catalogue has lost."""
    found = catalogue().checks.get(check_key)
    return catalogue().system_of_part[found.part.key] if found else ""


def check(key: str) -> str:
    """What is examined, with the part where the check's own title does not name it already."""
    return _check(get_language() or "en", key)


@lru_cache(maxsize=4096)
def _check(language: str, key: str) -> str:
    found = catalogue().checks.get(key)
    if found is None:
        return key
    part, title = found.part.title, found.check.title
    return title if _stems(part) & _stems(title) else f"{part}: {inner(title)}"


def _stems(title: str) -> set[str]:
    """The telling pieces of a title: words cut short ("pad" and "pads" are the same), in German also within words."""
    plain = unicodedata.normalize("NFKD", title.casefold()).encode("ascii", "ignore").decode()
    words = [word.removesuffix("s") for word in _WORD.findall(plain)]
    if _is_english():
        return {word[:5] for word in words} - _FILLERS
    told = [word for word in words if word not in _FILLERS]
    return {word[at : at + 5] for word in told for at in range(max(len(word) - 4, 1))}


def inner(title: str) -> str:
    """A title as it stands within a sentence; German nouns keep their capital."""
    return f"{title[:1].lower()}{title[1:]}" if _is_english() else title


def _is_english() -> bool:
    return (get_language() or "en").startswith("en")


_WORD = re.compile(r"[a-z]{3,}")
_FILLERS = frozenset({"front", "rear", "left", "right", "and", "the", "it", "with", "vorn", "hinten", "und", "der"})


def failure(part_key: str) -> str:
    """What happens when a part fails; empty for one the catalogue has lost."""
    found = catalogue().parts.get(part_key)
    return found.failure.what if found else ""


def observations(check_key: str, keys: Iterable[str]) -> list[str]:
    """What was seen, in the catalogue's words."""
    found = catalogue().checks.get(check_key)
    titles = {seen.key: seen.title for seen in found.check.observations} if found else {}
    return [titles.get(key, key) for key in keys]


def sheet(key: str) -> str:
    """The name of a sheet."""
    found = catalogue().sheets.get(key)
    return found.title if found else key


def access(unit: str) -> str:
    """What has to be taken apart, and where: "wheel-off.front-right"."""
    key, _dot, position = unit.partition(".")
    found = catalogue().access.get(key)
    return at_place(found.title if found else key, place(position))


def access_cautions(units: Iterable[str]) -> list[str]:
    """The warnings that come with taking these things apart."""
    known = catalogue()
    entries = (known.access.get(unit.partition(".")[0]) for unit in units)
    return [known.cautions[key].text for entry in entries if entry for key in entry.cautions]


def difficulty(level: int | None) -> str:
    """How hard a job is."""
    return str(_DIFFICULTIES.get(level or 0, ""))


def follow_up(key: str) -> tuple[str, int]:
    """What a job obliges, and after how many km (0: at once)."""
    found = catalogue().follow_ups.get(key)
    return (found.title, found.after_km) if found else (key, 0)


def work(key: str) -> str:
    """An access or a follow-up, whichever the key names, as it stands within a sentence."""
    title = follow_up(key)[0] if key in catalogue().follow_ups else access(key)
    return inner(title)
