"""What is due or dangerous in the language of a mail. Call inside the reader's language."""

from collections.abc import Mapping
from typing import Any

from django.utils.translation import pgettext, pgettext_lazy

from fleetcare.support.told import told
from inspections.catalogue.loader import default_catalogue
from scheduling.models import DueItem
from scheduling.services.due.titles import PART_WARRANTY, TITLES, parted
from scheduling.words import DueKind

_FRAMES: Mapping[str, Any] = {
    TITLES[DueKind.LOOK_AGAIN]: pgettext_lazy("mail", "Look again: %(name)s"),
    TITLES[DueKind.WEAR_LIMIT]: pgettext_lazy("mail", "%(name)s: at the limit"),
    TITLES[DueKind.DEFERRED_JOB]: pgettext_lazy("mail", "Put off until now: %(name)s"),
    PART_WARRANTY: pgettext_lazy("mail", "Warranty ends, a defect found before is the supplier's: %(name)s"),
}
_KINDS: Mapping[str, Any] = {
    DueKind.SERVICE: pgettext_lazy("kind of due item", "service"),
    DueKind.LOOK_AGAIN: pgettext_lazy("kind of due item", "look again"),
    DueKind.WEAR_LIMIT: pgettext_lazy("kind of due item", "forecast of wear"),
    DueKind.FOLLOW_UP: pgettext_lazy("kind of due item", "follows a job"),
    DueKind.STATUTORY: pgettext_lazy("kind of due item", "statutory inspection"),
    DueKind.INSURANCE: pgettext_lazy("kind of due item", "insurance"),
    DueKind.TAX: pgettext_lazy("kind of due item", "tax"),
    DueKind.WARRANTY: pgettext_lazy("kind of due item", "warranty"),
    DueKind.DOCUMENT: pgettext_lazy("kind of due item", "document"),
    DueKind.DEFERRED_JOB: pgettext_lazy("kind of due item", "job put off"),
}


def catalogue_words(english: str) -> str:
    """A name or sentence of the catalogue as the reader's language has it; English where it has none."""
    return told(english)


def told_what(item: DueItem) -> str:
    """What is due: the frame translated, the name in it as the catalogue tells it, or as somebody wrote it."""
    frame, name = parted(item.kind, item.what)
    told = catalogue_words(name)
    return str(_FRAMES[frame]) % {"name": told} if frame in _FRAMES else told


def told_kind(item: DueItem) -> str:
    """What makes it due, where what it is called does not say so already."""
    frame, _ = parted(item.kind, item.what)
    return "" if frame in _FRAMES else str(_KINDS.get(item.kind, item.kind))


def told_danger(danger: Mapping[str, str]) -> str:
    """Why a vehicle must not be driven: what was seen, and what happens if it fails; anything else as it stands."""
    part, why = default_catalogue().parts.get(danger.get("part", "")), danger["why"]
    if part is None or why != _DANGER % {"part": part.title, "failure": part.failure.what}:
        return why
    facts = {"part": catalogue_words(part.title), "failure": catalogue_words(part.failure.what)}
    return pgettext("mail", "%(part)s was seen dangerous. If it fails: %(failure)s") % facts


_DANGER = "%(part)s was seen dangerous. If it fails: %(failure)s"
