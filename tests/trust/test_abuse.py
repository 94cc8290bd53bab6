"""What is sent to wear the service out is refused at once: too large, too deep, too many, made up."""

import base64
import io
import struct
import time
import tracemalloc
import zipfile
from collections.abc import Callable
from typing import Any

import pytest

from fleetcare.kernel.errors import InvalidInput
from fleetcare.portal.exchange.archive import Archive
from fleetcare.portal.exchange.directories import contents_fit
from fleetcare.portal.exchange.tables import read_table
from tests.conftest import Cast
from tests.contract import openapi

pytestmark = pytest.mark.django_db

MOST_SECONDS, MOST_BYTES = 0.2, 50 * 1024**2
MANY = 100_000
MEGABYTE = 1024**2


def at(cast: Cast, *rest: object) -> str:
    return "/".join(["/api/v1/fleets", str(cast.fleet.pk), *map(str, rest), ""])


def of_vehicle(cast: Cast, *rest: object) -> str:
    return at(cast, "vehicles", cast.vehicle.pk, *rest)


def measured(ask: Callable[[], Any]) -> Any:
    """The answer, once it was given twice: the first time against the clock, then against the memory."""
    ask()
    started = time.process_time()
    ask()
    seconds = time.process_time() - started
    tracemalloc.start()
    try:
        answer = ask()
        peak = tracemalloc.get_traced_memory()[1]
    finally:
        tracemalloc.stop()
    assert seconds < MOST_SECONDS, f"{seconds:.3f} s of processor time"
    assert peak < MOST_BYTES, f"{peak / MEGABYTE:.0f} MB"
    return answer


def nested(depth: int) -> bytes:
    return b'{"name": ' + b"[" * depth + b"]" * depth + b"}"


BODIES: dict[str, tuple[str, bytes, int]] = {
    "ten megabytes": ("vehicles", b'{"name": "' + b"x" * 10 * MEGABYTE + b'"}', 413),
    "a thousand deep": ("vehicles", nested(1_000), 400),
    "a hundred thousand deep": ("vehicles", nested(100_000), 400),
    "a list instead of an object": ("vehicles", b"[" + b"{}," * MANY + b"{}]", 400),
    "fields without end": (
        "vehicles", b"{" + b",".join(b'"f%d":1' % number for number in range(MANY)) + b"}", 400,
    ),
    "a number with many digits": ("vehicles", b'{"name": ' + b"9" * 10_000 + b"}", 400),
    "results without end": ("inspections", b'{"results": [' + b"{}," * MANY + b"{}]}", 400),
    "codes without end": ("inspections", b'{"trouble_codes": [' + b'"P",' * MANY + b'"P"]}', 400),
    "visits without end": ("plans", b'{"visits": [' + b"{}," * MANY + b"{}]}", 400),
    "wishes without end": ("plans", b'{"wishes": [' + b"{}," * MANY + b"{}]}", 400),
    "lines without end": ("estimates", b'{"lines": [' + b"{}," * MANY + b"{}]}", 400),
    "vehicles without end": ("contacts", b'{"vehicles": [' + b'"x",' * MANY + b'"x"]}', 400),
    "an amount without end": ("fuel", b'{"price": {"amount": "' + b"9" * MEGABYTE + b'", "currency": "EUR"}}', 400),
    "a language that backtracks": ("contacts", b'{"language": "' + b"aa-" * 300_000 + b'!"}', 400),
}  # fmt: skip
OF_VEHICLE = {"inspections", "estimates", "fuel"}


@pytest.mark.parametrize("name", BODIES)
def test_a_body_that_asks_too_much_is_refused_at_once(api: Any, cast: Cast, name: str) -> None:
    place, body, status = BODIES[name]
    where = of_vehicle(cast, place) if place in OF_VEHICLE else at(cast, place)
    answer = measured(lambda: api.generic("POST", where, body, "application/json"))
    assert answer.status_code == status
    assert len(answer.content) < MEGABYTE


@pytest.mark.parametrize(
    "query",
    [
        "limit=1000000000",
        "limit=" + "9" * 5_000,
        "limit=٣",
        "cursor=" + "A" * 60_000,
        "q=" + "a+" * 5_000,
        "q=" + "a" * 60_000,
        "q=%00",
        "ordering=" + "name," * 5_000,
        "&".join(f"f{number}=1" for number in range(900)),
        "standing__vehicle__fleet__members__user__password=x",
    ],
)
def test_a_question_that_asks_too_much_is_refused_at_once(api: Any, cast: Cast, query: str) -> None:
    answer = measured(lambda: api.get(f"{at(cast, 'vehicles')}?{query}"))
    assert answer.status_code == 400
    assert len(answer.content) < MEGABYTE


def _lists() -> list[str]:
    return [
        path
        for path, operations in openapi()["paths"].items()
        if any(each["name"] == "cursor" for each in operations.get("get", {}).get("parameters", ()))
    ]


MADE_UP = [
    b"p=x", b"p=", b"p=%00", b"o=1000000000", b"o=-1&r=1", b"r=1&p=9999-99-99", b"p=" + b"9" * 400,
    b"p=0001-01-01T00:00:00Z",
]  # fmt: skip


@pytest.mark.parametrize("made_up", MADE_UP, ids=[each[:12].decode() for each in MADE_UP])
def test_a_cursor_that_was_made_up_is_no_fault_of_ours(api: Any, cast: Cast, made_up: bytes) -> None:
    cursor = base64.b64encode(made_up).decode()
    for where in (
        at(cast, "vehicles"), at(cast, "contacts"), at(cast, "members"), at(cast, "jobs"), at(cast, "prices"),
        at(cast, "due"), at(cast, "backlog"), of_vehicle(cast, "odometer"), of_vehicle(cast, "findings"),
        of_vehicle(cast, "inspections"), of_vehicle(cast, "photos"), of_vehicle(cast, "fuel"), at(cast, "estimates"),
    ):  # fmt: skip
        assert api.get(where, {"cursor": cursor}).status_code in {200, 400}, where


def _zip_with(entries: int, *, claimed: int | None = None) -> bytes:
    """A ZIP that is nothing but its table of contents."""
    one = struct.pack("<4s6H3L5H2L", b"PK\1\2", 20, 20, 0, 0, 0, 0, 0, 0, 0, 1, 0, 0, 0, 0, 0, 0) + b"a"
    contents = one * entries
    size = len(contents) if claimed is None else claimed
    end = struct.pack("<4s4H2LH", b"PK\5\6", 0, 0, entries & 0xFFFF, entries & 0xFFFF, size, 0, 0)
    return contents + end


def test_a_table_of_contents_without_end_is_refused_before_it_is_read() -> None:
    bomb = io.BytesIO(_zip_with(400_000))

    def refused() -> None:
        for take in (lambda: Archive(bomb), lambda: read_table(b"PK\3\4" + bomb.getvalue()[4:])):
            with pytest.raises(InvalidInput):
                take()

    measured(refused)


def test_what_the_end_of_a_zip_says_is_measured() -> None:
    good = io.BytesIO()
    with zipfile.ZipFile(good, "w") as archive:
        archive.writestr("a", b"x")
    assert contents_fit(good, 1_000)
    assert not contents_fit(good, 10)
    end = good.getvalue()[-22:]
    large = good.getvalue()[:-22] + struct.pack("<4sLQL", b"PK\6\7", 0, 0, 1) + end
    for data in (b"", b"no zip", end[:-1], large, _zip_with(1, claimed=0xFFFFFFFF), good.getvalue() + end[:10]):
        assert not contents_fit(io.BytesIO(data), 1_000)


def test_a_name_with_line_breaks_makes_no_header(api: Any, cast: Cast) -> None:
    evil = 'x\r\nSet-Cookie: a=b\r\n\r\n"; ;'
    made = api.post(at(cast, "vehicles"), {"name": evil, "plate": "a\nb", "first_used_on": "2012-05-01"})
    assert made.status_code in {201, 400}
    cast.vehicle.name = evil
    cast.vehicle.save(update_fields=["name"])
    answer = api.get(of_vehicle(cast, "report.pdf").rstrip("/"))
    assert answer.status_code == 200
    assert "Set-Cookie" not in answer
    assert all("\r" not in value and "\n" not in value for _, value in answer.items())
    strange = api.get(at(cast, "vehicles"), HTTP_X_REQUEST_ID="abcdefgh\r\nSet-Cookie: a=b")
    assert "Set-Cookie" not in strange
    assert "\n" not in strange["X-Request-ID"]
