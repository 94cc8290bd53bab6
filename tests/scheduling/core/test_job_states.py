"""The life of a job, every state against every step."""

from itertools import product

import pytest

from scheduling.core.job_states import LIVE, TABLE, JobState, Step, after, sources, steps

# Row: state; columns in the order of Step: plan, start, close, decline, defer, reopen, undo. "-": not possible.
EXPECTED = """
open      planned  in-work  done  declined  deferred  -     -
planned   planned  in-work  done  declined  deferred  open  -
in-work   planned  -        done  declined  deferred  open  -
done      -        -        -     -         -         -     in-work
declined  -        -        -     -         -         open  -
deferred  planned  in-work  done  declined  deferred  open  -
"""
CASES = [
    (JobState(row[0]), step, row[1 + column])
    for row in (line.split() for line in EXPECTED.strip().splitlines())
    for column, step in enumerate(Step)
]


def test_the_table_of_expectations_names_every_state_and_step() -> None:
    assert {(state, step) for state, step, _ in CASES} == set(product(JobState, Step))
    assert set(TABLE) == set(Step)


@pytest.mark.parametrize(("state", "step", "expected"), CASES, ids=lambda value: str(value))
def test_each_step_leads_where_it_should_and_nowhere_else(state: JobState, step: Step, expected: str) -> None:
    found = after(state, step, before=JobState.IN_WORK)
    assert (found or "-") == expected
    assert (step in steps(state)) == (expected != "-")
    assert (state in sources(step)) == (expected != "-")


@pytest.mark.parametrize("before", LIVE)
def test_undoing_returns_to_whatever_stood_before_the_closing(before: JobState) -> None:
    assert after(JobState.DONE, Step.UNDO, before) == before


def test_what_is_live_can_be_closed_and_nothing_else() -> None:
    assert set(LIVE) == set(sources(Step.CLOSE)) == set(JobState) - {JobState.DONE, JobState.DECLINED}


def test_from_every_state_a_job_can_still_come_to_be_done() -> None:
    for state in JobState:
        reached, seen = {state}, set()
        while reached - seen:
            here = (reached - seen).pop()
            seen.add(here)
            reached |= {found for step in Step if (found := after(here, step)) is not None}
        assert JobState.DONE in reached
