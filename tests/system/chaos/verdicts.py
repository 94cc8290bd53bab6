"""What must be true after each injury, in the short and in the long form."""

from tests.system.chaos.injuries import Answers, DatabaseGone, Poisoned, Stopped
from tests.system.chaos.world import Report


def nothing(report: Report) -> None:
    """Nothing lost, nothing twice, nobody told who should not be."""
    assert (report.lost, report.duplicated, report.unexpected) == (0, 0, 0), report


def repeats_at_most(report: Report, most: int) -> None:
    """Nothing lost; repeated at most what was in flight."""
    assert (report.lost, report.unexpected) == (0, 0), report
    assert report.duplicated <= most, report


def stopped(found: Stopped) -> None:
    nothing(found.report)
    assert found.statuses == [0] * len(found.statuses)
    assert found.seconds < 60
    assert {status for status, _ in found.answers} == {201}
    assert found.confirmed == found.stored


def poisoned(found: Poisoned) -> None:
    nothing(found.report)
    assert found.states == {"sent": found.report.expected, "parked": 2}
    assert found.log.count("parked Letter") == 2
    assert "no_such_task" in found.log
    assert "badly formed hexadecimal UUID string" in found.log


def broker_was_gone(report: Report, writes: Answers) -> None:
    nothing(report)
    assert writes
    assert {status for status, _ in writes} == {201}
    assert report.recovered_seconds < 60


def database_was_gone(found: DatabaseGone, senders: int) -> None:
    """Each of the processes that send may have had a mail taken whose outcome could not be written down any more."""
    repeats_at_most(found.report, senders)
    assert found.confirmed <= found.stored
    assert {status for status, _ in found.while_down} == {503}
    assert all(kind == "application/problem+json" for _, kind in found.while_down)
    assert found.slowest_refusal_seconds < 1
    assert found.first_after == 201
