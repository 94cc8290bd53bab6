"""The whole description under made-up input."""

import os
from typing import Any

import pytest

from tests.conftest import Cast
from tests.scheduling.work_given import PADS_JOB
from tests.tenancy.given import ids_of
from tests.trust.fuzz import faults_of, operations

pytestmark = [
    pytest.mark.slow,
    pytest.mark.django_db,
    pytest.mark.timeout(3_600),
]

EXAMPLES = int(os.environ.get("FUZZ_EXAMPLES", "1"))
# Making up what is not described takes most of the time: without a number of examples, every third operation.
STEP_OF_WRONG = 1 if "FUZZ_EXAMPLES" in os.environ else 3


@pytest.mark.parametrize("wrong", [False, True], ids=["as described", "not as described"])
def test_no_input_breaks_an_operation_or_gets_an_answer_that_is_not_described(cast: Cast, wrong: bool) -> None:
    ids: dict[str, Any] = {**ids_of(cast), "job_key": PADS_JOB}
    key = cast.key()
    only = os.environ.get("FUZZ_ONLY", "")
    listed = [each for each in operations() if only in f"{each.method.upper()} {each.path}"]
    chosen = listed[:: STEP_OF_WRONG if wrong else 1]
    faults = [fault for each in chosen for fault in faults_of(each, ids, key, EXAMPLES, wrong=wrong)]
    assert not faults, "\n\n".join(faults)
