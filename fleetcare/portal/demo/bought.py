"""What somebody wrote down about a part that was bought."""

from random import Random

from inspections.catalogue.catalogue import Catalogue, PartJob

_WORDS = ("", "", "", "maker's own part", "pattern part", "used, from a breaker", "overhauled exchange part")
_SECOND_HAND = frozenset(_WORDS[-2:])
_BOUGHT_FROM_EUR = 5
_SECOND_HAND_FROM_EUR = 70
"""Nobody goes to a breaker for less; common practice, no source."""
_NOT_A_THING = ("fluid", "oil", "coolant", "alignment", "aim", "refrigerant")
_NEW_ONLY = ("tyre", "belt", "clutch", "battery", "filter", "catalyst")


def described(catalogue: Catalogue, entry: PartJob, rng: Random) -> str:
    """A few words, mostly none; second hand only what people do buy second hand."""
    word = rng.choice(_WORDS)
    title, likely_eur = entry.part.title.casefold(), entry.job.parts_eur.typical
    papers = catalogue.system_of_part[entry.part.key] == "documents"
    if papers or likely_eur < _BOUGHT_FROM_EUR or any(name in title for name in _NOT_A_THING):
        return ""
    new_only = entry.part.safety or likely_eur < _SECOND_HAND_FROM_EUR or any(name in title for name in _NEW_ONLY)
    return "" if new_only and word in _SECOND_HAND else word
