"""Why a job stands where it stands: codes with facts, so that pages, mails and the API phrase them."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field

Facts = Mapping[str, float | int | str]

_NUMBERS = ("no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten", "eleven", "twelve")


@dataclass(frozen=True, slots=True)
class Reason:
    """A stable code and the facts it needs; both can be stored as JSON."""

    code: str
    facts: Facts = field(default_factory=dict)


def phrase(reason: Reason) -> str:
    """The reason as one English sentence without a full stop; raises KeyError for an unknown code."""
    return _PHRASES[reason.code](reason.facts)


def _times(facts: Facts) -> str:
    times = float(facts["times"])
    if times < 1.5:
        return "failing costs little more than the job"
    whole = int(times + 0.5)
    word = _NUMBERS[whole] if whole < len(_NUMBERS) else str(whole)
    return f"failing costs {word} times the job" if whole != 2 else "failing costs twice the job"


def odds(chance_fraction: float) -> str:
    """A chance in words that can be pictured: "4 in 10", "1 in 20", "fewer than 1 in 100", "nearly all"."""
    if chance_fraction >= 0.95:
        return "nearly all"
    if chance_fraction >= 0.095:
        return f"{int(chance_fraction * 10 + 0.5)} in 10"
    if chance_fraction >= 0.01:
        return f"1 in {int(1 / chance_fraction + 0.5)}"
    return "fewer than 1 in 100"


def _chance(facts: Facts) -> str:
    return f"{odds(float(facts['chance_fraction']))} fail within {int(facts['horizon_km']):,} km like this"


def _opened(facts: Facts) -> str:
    return f"already opened or done for a job before it: {facts['work']}"


def _wait(facts: Facts) -> str:
    months = int(facts["months"])
    return f"waiting {months} months is expected to cost no more than doing it now"


_PHRASES: dict[str, Callable[[Facts], str]] = {
    "dangerous-safety-part": lambda facts: "a safety part is dangerous: do not drive before this is done",
    "failure-costs-times": _times,
    "failure-chance": _chance,
    "danger-exposure": lambda facts: "every kilometre in this state puts people at risk or damages other parts",
    "major-exposure": lambda facts: "driving on like this wears other parts or adds risk",
    "access-opened": _opened,
    "unseen-too-long": lambda facts: "not looked at for too long, so its state is a guess",
    "part-kept": lambda facts: "puts the defect right and keeps the old part, which is renewed another time",
    "life-left": lambda facts: "it still has life to give that a new part would only repeat",
    "can-wait-months": _wait,
    "wait-for-a-look": lambda facts: "cheaper to wait until a look finds it major",
    "run-to-failure": lambda facts: "a failure is cheap enough to wait for",
}

CODES = tuple(_PHRASES)
