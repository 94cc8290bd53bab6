"""The judge's document as a page tells it: a verdict, the dangers, the score and what was taken off it."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any

from django.utils.translation import gettext, ngettext

from fleetcare.portal.web.presenters import words
from fleetcare.portal.web.presenters.figures import Day, Figures
from fleetcare.portal.web.presenters.vehicles import ScoreShown, score_shown

Json = dict[str, Any]

NAMED_PARTS = 6
"""Parts named under a system; the others are told as one sum."""
MOST_TELLING_SYSTEMS = 3
"""Systems named before the ledger is unfolded."""
TELLING_POINTS = 0.05
"""What rounds to less than a tenth of a point is not named."""
THIN_COVERAGE = 0.5
"""Below this a verdict says plainly that most of the vehicle was not looked at."""


@dataclass(frozen=True, slots=True)
class Danger:
    """A part that forbids driving, and what happens when it fails."""

    title: str
    why: str


@dataclass(frozen=True, slots=True)
class PartLoss:
    """Points that one part takes off the score."""

    title: str
    grade: words.GradeShown
    points: str
    reason: str
    key: str
    position: str
    """Which part: for the page that says what its figures rest on."""


@dataclass(frozen=True, slots=True)
class SystemLoss:
    """Points that one system takes off; `width` is its bar on a scale of the largest."""

    title: str
    points: str
    width: str
    parts: tuple[PartLoss, ...]
    others: str
    """How many parts are not named, and what they take off together; empty where all are named."""
    others_points: str


@dataclass(frozen=True, slots=True)
class ConditionShown:
    """What the page says about the condition; `examined` is false until anything was looked at."""

    examined: bool
    verdict: str
    caveat: str
    do_not_drive: bool
    dangers: tuple[Danger, ...]
    grade: words.GradeShown
    score: ScoreShown
    level: str
    exact_score: str
    full_marks: str
    losses: tuple[SystemLoss, ...]
    mostly: str
    """The systems that cost the score most."""
    next_year_cost: str
    as_of: Day | None
    disclaimer: str


def condition_shown(
    figures: Figures, document: Json, findings: Sequence[Any], *, examined: bool = True
) -> ConditionShown:
    """The condition document (API: `condition/`) with the open findings that its verdict counts.

    `examined` says whether anybody has ever looked; coverage only counts looks that are recent enough.
    """
    interval = document["interval"]
    exact, losses = _ledger(figures, document["score"], document["contributions"])
    return ConditionShown(
        examined=examined,
        verdict=_verdict(document, findings, examined),
        caveat=_caveat(figures, document["coverage_fraction"]) if examined else "",
        do_not_drive=document["do_not_drive"],
        dangers=tuple(_danger(danger) for danger in document["dangers"]),
        grade=words.grade(document["worst_grade"] if examined else None),
        score=score_shown(figures, document["score"], interval["low"], interval["high"], document["coverage_fraction"]),
        level=figures.percent(interval["level"]),
        exact_score=exact,
        full_marks=figures.number(100, 1),
        losses=losses,
        mostly=figures.listed(f"{loss.title} −{loss.points}" for loss in losses[:MOST_TELLING_SYSTEMS]),
        next_year_cost=figures.money_of(document["next_year_cost"]),
        as_of=figures.day(document["as_of"]),
        disclaimer=words.told(document["disclaimer"]),
    )


def _danger(danger: Json) -> Danger:
    return Danger(
        words.at_place(words.told(danger["title"]), words.place(danger["position"])),
        words.failure(danger["part"]) or words.told(danger["why"]),
    )


def _verdict(document: Json, findings: Sequence[Any], examined: bool) -> str:
    """One sentence, never milder than the worst that is open, and never a clearance to drive."""
    if document["do_not_drive"]:
        return ngettext(
            "Do not drive: a safety part is dangerous.",
            "Do not drive: %(count)d safety parts are dangerous.",
            len(document["dangers"]),
        ) % {"count": len(document["dangers"])}
    if not examined:
        return gettext("Nothing is known yet: no inspection has been recorded.")
    counts = {key: sum(finding.grade.key == key for finding in findings) for key in ("dangerous", "major", "minor")}
    if counts["dangerous"]:
        return gettext("A dangerous defect is open: put it right before anything else.")
    if counts["major"]:
        return ngettext(
            "No dangerous defect is known, but a major one is open and should be put right soon.",
            "No dangerous defect is known, but %(count)d major ones are open and should be put right soon.",
            counts["major"],
        ) % {"count": counts["major"]}
    if counts["minor"]:
        return ngettext(
            "No major defect is known; a minor one is open and worth watching.",
            "No major defect is known; %(count)d minor ones are open and worth watching.",
            counts["minor"],
        ) % {"count": counts["minor"]}
    return gettext("No defect is open in what was looked at.")


def _caveat(figures: Figures, coverage_fraction: float) -> str:
    if coverage_fraction >= THIN_COVERAGE:
        return ""
    share = figures.percent(coverage_fraction)
    return gettext("It rests on a recent look at only %(share)s of the vehicle.") % {"share": share}


def _ledger(figures: Figures, score: float, contributions: Iterable[Json]) -> tuple[str, tuple[SystemLoss, ...]]:
    """The score to a tenth and the systems' losses to a tenth, which together make exactly 100."""
    by_system: dict[str, list[Json]] = {}
    for entry in contributions:
        by_system.setdefault(entry["system"], []).append(entry)
    sums = {key: sum(entry["points"] for entry in entries) for key, entries in by_system.items()}
    rounded = _tenths([score, *sums.values()])
    order = sorted(zip(by_system, rounded[1:], strict=True), key=lambda pair: (-pair[1], pair[0]))
    largest = max((tenths for _, tenths in order), default=0)
    losses = tuple(_system_loss(figures, key, by_system[key], tenths, largest) for key, tenths in order if tenths)
    return figures.number(rounded[0] / 10, 1), losses


def _tenths(values: Sequence[float]) -> list[int]:
    """Shares of 100 in tenths that add up to 1000: the largest remainders are rounded up (Hamilton's method)."""
    scaled = [value * 10 for value in values]
    whole = [int(value) for value in scaled]
    missing = round(sum(scaled)) - sum(whole)
    by_remainder = sorted(range(len(values)), key=lambda index: whole[index] - scaled[index])
    for index in by_remainder[:missing]:
        whole[index] += 1
    return whole


def _system_loss(figures: Figures, key: str, entries: list[Json], tenths: int, largest: int) -> SystemLoss:
    ranked = sorted(entries, key=lambda entry: -entry["points"])
    named = [entry for entry in ranked[:NAMED_PARTS] if entry["points"] >= TELLING_POINTS]
    others = ranked[len(named) :]
    return SystemLoss(
        title=words.system(key),
        points=figures.number(tenths / 10, 1),
        width=f"{100 * tenths / largest:.2f}",
        parts=tuple(_part_loss(figures, entry) for entry in named),
        others=ngettext("%(count)d more part", "%(count)d more parts", len(others)) % {"count": len(others)}
        if others
        else "",
        others_points=_points(figures, sum(entry["points"] for entry in others)),
    )


def _part_loss(figures: Figures, entry: Json) -> PartLoss:
    return PartLoss(
        title=words.at_place(words.told(entry["title"]), words.place(entry["position"])),
        grade=words.grade(entry["grade"]),
        points=_points(figures, entry["points"]),
        reason=words.told(entry["reason"]),
        key=entry["part"],
        position=entry["position"] or "",
    )


def _points(figures: Figures, points: float) -> str:
    """Points taken off, with their sign; empty where they round to nothing."""
    return f"−{figures.number(points, 1)}" if points >= TELLING_POINTS else ""
