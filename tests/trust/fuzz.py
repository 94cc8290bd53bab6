"""Every operation of the description with made-up input, valid and not: no fault of ours, no answer beside the text.

The addresses lead to real rows of a fleet, so that the input reaches the use-cases; each call is rolled back.
By hand, for as many examples as there is time: `FUZZ_EXAMPLES=200 pytest tests/trust/test_fuzz.py`.
"""

import copy
import re
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from typing import Any

import hypothesis
import schemathesis
from django.core.signals import request_finished, request_started
from django.core.wsgi import get_wsgi_application
from django.db import close_old_connections, transaction
from hypothesis import HealthCheck, Phase
from schemathesis import GenerationMode
from schemathesis.checks import CHECKS
from schemathesis.core.failures import Failure, FailureGroup
from schemathesis.generation.feedback import FeedbackSources

from tests.contract import openapi

_ALWAYS = (
    "not_a_server_error",
    "status_code_conformance",
    "content_type_conformance",
    "response_headers_conformance",
    "response_schema_conformance",
)
# Left out: `positive_data_acceptance`, since the domain refuses what a schema cannot say (a job that the catalogue
# does not know); the checks of authorisation, which the tenancy matrix makes with more actors.
_OF_WRONG_INPUT = (*_ALWAYS, "negative_data_rejection")

# Without constants picked from this code: with them some bodies cannot be made up at all.
_BLIND = FeedbackSources()


def operations() -> list[Any]:
    """Every operation, to be called in this process."""
    schema = schemathesis.openapi.from_dict(_without_what_is_sent_rightly(openapi()))
    schema.app = _read_to_the_end(get_wsgi_application())
    return [found.ok() for found in schema.get_all_operations()]


def _read_to_the_end(app: Any) -> Any:
    """A file is answered as a stream; a server reads and closes it, the fuzzer's client does not."""

    def called(environ: Any, start_response: Any) -> list[bytes]:
        answer = app({**environ, "wsgi.file_wrapper": None}, start_response)
        try:
            return [b"".join(answer)]
        finally:
            answer.close()

    return called


def _without_what_is_sent_rightly(described: dict[str, Any]) -> dict[str, Any]:
    """The description without keys and If-Match, which each call has right: wrong ones end it before its input is read.

    They have tests of their own.
    """
    schema = copy.deepcopy(described)
    schema["components"].pop("securitySchemes")
    for operations_there in schema["paths"].values():
        for operation in operations_there.values():
            operation.pop("security", None)
            operation["parameters"] = [each for each in operation.get("parameters", ()) if each["name"] != "If-Match"]
    return schema


def faults_of(operation: Any, ids: Mapping[str, Any], key: str, examples: int, *, wrong: bool) -> list[str]:
    """What goes wrong with so many inputs; `wrong` for input that the description does not allow."""
    mode = GenerationMode.NEGATIVE if wrong else GenerationMode.POSITIVE
    known = {name: str(ids[name]) for name in re.findall(r"{(\w+)}", operation.path)}
    checks = [CHECKS.get_one(name) for name in (_OF_WRONG_INPUT if wrong else _ALWAYS)]
    found: list[str] = []

    @hypothesis.settings(
        max_examples=examples,
        derandomize=True,
        database=None,
        deadline=None,
        phases=[Phase.explicit, Phase.generate],
        suppress_health_check=list(HealthCheck),
    )
    @hypothesis.given(operation.as_strategy(mode, path_parameters=known, feedback=_BLIND))
    def tried(case: Any) -> None:
        fault = _fault_of(case, key, checks)
        if fault:
            found.append(f"{operation.method.upper()} {operation.path}: {fault}")

    try:
        with _one_connection():
            tried()
    except hypothesis.errors.Unsatisfiable:
        # Nothing about this operation can be wrong.
        assert wrong
    return found


@contextmanager
def _one_connection() -> Iterator[None]:
    """A server lets go of its connection after an answer; here it holds what is to be rolled back."""
    ends = (request_started, request_finished)
    for signal in ends:
        signal.disconnect(close_old_connections)
    try:
        yield
    finally:
        for signal in ends:
            signal.connect(close_old_connections)


def _fault_of(case: Any, key: str, checks: list[Any]) -> str | None:
    point = transaction.savepoint()
    try:
        response = case.call(headers={"Authorization": f"Bearer {key}", "If-Match": "*"})
        case.validate_response(response, checks=checks)
    except (Failure, FailureGroup) as error:
        causes = [str(each) for each in getattr(error, "exceptions", (error,))]
        return f"{' | '.join(causes)[:900]} <- {case.as_curl_command()[:900]}"
    finally:
        transaction.savepoint_rollback(point)
    return None
