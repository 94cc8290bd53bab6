"""What a due item is called on record, in English, around a name of the catalogue's or of somebody's own.

Whoever tells it in another language takes the name out again and puts it into words of that language.
"""

from collections.abc import Mapping

from scheduling.words import DueKind

_NAME = "{name}"
PART_WARRANTY = "Warranty ends, a defect found before is the supplier's: {name}"
TITLES: Mapping[str, str] = {
    DueKind.LOOK_AGAIN: "Look again: {name}",
    DueKind.WEAR_LIMIT: "{name}: at the limit",
    DueKind.DEFERRED_JOB: "Put off until now: {name}",
    # Somebody's own reminder of a warranty has a title of theirs.
    DueKind.WARRANTY: PART_WARRANTY,
}


def parted(kind: str, what: str) -> tuple[str, str]:
    """The frame (with `{name}`) and the name of what an item of a kind is called; no frame where it has none."""
    frame = TITLES.get(kind, _NAME)
    before, _, after = frame.partition(_NAME)
    if what.startswith(before) and what.endswith(after) and len(what) > len(before) + len(after):
        return frame, what[len(before) : len(what) - len(after)]
    return _NAME, what
