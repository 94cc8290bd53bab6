"""One vehicle's condition and ranked backlog as lines for a terminal; documents in, text out."""

from collections.abc import Iterator, Mapping, Sequence
from decimal import Decimal
from textwrap import wrap
from typing import Any

Document = Mapping[str, Any]
WIDTH = 100
_MOST_JOBS = 12
_MOST_CONTRIBUTIONS = 6
_INDENT = " " * 15


def shown(title: str, condition: Document, backlog: Document) -> Iterator[str]:
    """The lines: do-not-drive first, what the score rests on, the jobs in their order, the disclaimer."""
    yield title
    yield "=" * min(len(title), WIDTH)
    if condition["do_not_drive"]:
        yield from ("", "DO NOT DRIVE: a safety part is dangerous.")
        for danger in condition["dangers"]:
            yield from wrap(
                f"{danger['title']}{_at(danger)}: {danger['why']}",
                WIDTH,
                initial_indent="  - ",
                subsequent_indent="    ",
            )
    yield ""
    yield from _condition(condition)
    yield ""
    yield from _jobs(backlog)
    yield ""
    yield from wrap(condition["disclaimer"], WIDTH)


def money(amount: Mapping[str, str]) -> str:
    """An amount of the API in figures for people."""
    return f"{Decimal(amount['amount']):,} {amount['currency']}"


def _condition(condition: Document) -> Iterator[str]:
    interval = condition["interval"]
    yield (
        f"Condition {condition['score']:.0f} of 100 (80 % sure: {interval['low']:.0f} to {interval['high']:.0f}), "
        f"resting on {condition['coverage_fraction']:.0%} of the vehicle; worst grade {condition['worst_grade']}."
    )
    yield f"Next twelve months: {money(condition['next_year_cost'])} to be expected."
    for entry in condition["contributions"][:_MOST_CONTRIBUTIONS]:
        grade = entry["grade"] or "not seen"
        yield f"  -{entry['points']:4.1f}  {grade:<10} {entry['title']}{_at(entry)}"
    rest = condition["contributions"][_MOST_CONTRIBUTIONS:]
    if rest:
        yield f"  -{sum(entry['points'] for entry in rest):4.1f}  {'':<10} {len(rest)} other parts"


def _jobs(backlog: Document) -> Iterator[str]:
    items = backlog["items"]
    if not items:
        yield "Nothing is worth doing now."
        return
    together = f"{_counted(len(items), 'job')}, {money(backlog['total_cost'])} together"
    yield f"Worth doing now, in this order: {together}"
    yield ""
    yield f"{'':>4} {'grade':<10}{'job':<44}{'cost now':>14}{'waiting costs':>16}{'hours':>7}"
    for item in sorted(items, key=lambda each: (not each["before_driving"], each["rank"]))[:_MOST_JOBS]:
        yield from _job(item)
    if len(items) > _MOST_JOBS:
        yield f"{_INDENT}and {len(items) - _MOST_JOBS} more"
    if backlog["can_wait"]:
        yield f"{_INDENT}{_counted(len(backlog['can_wait']), 'job')} can wait"


def _job(item: Document) -> Iterator[str]:
    title, *more = wrap(f"{item['title']}{_places(item['positions'])}", 42)
    figures = f"{money(item['cost_now']):>14}{money(item['cost_of_waiting']):>16}{item['hours']:>7.1f}"
    yield f"{item['rank']:>3}. {item['grade'] or 'not seen':<10}{title:<44}{figures}"
    yield from (_INDENT + line for line in more)
    for reason in item["reasons"]:
        yield from wrap(
            reason, WIDTH, initial_indent=f"{_INDENT}· ", subsequent_indent=f"{_INDENT}  ", break_on_hyphens=False
        )


def _at(entry: Document) -> str:
    return _places([entry["position"]] if entry["position"] else [])


def _places(positions: Sequence[str]) -> str:
    """ ", front left and front right"; nothing where a part has no position."""
    *others, last = [position.replace("-", " ") for position in positions] or [""]
    if others:
        return f", {', '.join(others)} and {last}"
    return f", {last}" if last else ""


def _counted(number: int, noun: str) -> str:
    return f"{number} {noun}" if number == 1 else f"{number} {noun}s"
