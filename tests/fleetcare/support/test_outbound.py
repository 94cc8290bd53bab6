"""Calls to addresses that strangers chose: nowhere inside, bounded in time and size, nothing followed."""

import ipaddress
import socket
import time
import tracemalloc
from typing import Any

import pytest

from fleetcare.support import outbound
from tests.scheduling.webhooks.receiver import receiving

# Addresses by which services were led inside, from the registries of special-purpose addresses (IANA, RFC 6890).
INSIDE = [
    "127.0.0.1", "127.8.9.10", "10.1.2.3", "172.16.0.1", "192.168.1.1", "169.254.169.254", "100.64.0.1", "0.0.0.0",  # noqa: S104
    "192.0.2.1", "198.18.0.1", "224.0.0.1", "255.255.255.255", "240.0.0.1", "::1", "::", "fe80::1", "fc00::1",
    "ff02::1", "::ffff:10.0.0.1", "::ffff:169.254.169.254", "64:ff9b::a00:1", "2002:7f00:1::", "2002:a00:1::",
    "::7f00:1", "2001:db8::1",
]  # fmt: skip


@pytest.mark.parametrize("address", INSIDE)
def test_no_address_inside_is_public(address: str) -> None:
    assert not outbound.is_public(ipaddress.ip_address(address))


@pytest.mark.parametrize("address", ["8.8.8.8", "1.1.1.1", "2606:4700::1111", "64:ff9b::808:808"])
def test_addresses_of_the_open_internet_are(address: str) -> None:
    assert outbound.is_public(ipaddress.ip_address(address))


@pytest.mark.parametrize(
    "url",
    [
        "http://receiver.example/", "ftp://receiver.example/", "https://", "https:///x", "https://a:b@receiver.example/",
        "https://receiver.example:99999/", "https://[::1]/", "https://127.0.0.1/", "https://[::ffff:10.0.0.1]/",
        "https://receiver.example/\r\nX: y", "javascript:alert(1)", "https://10.0.0.1:8443/x",
    ],
)  # fmt: skip
def test_such_an_address_is_refused_before_anything_is_called(url: str, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(socket, "create_connection", lambda *_: pytest.fail("connected"))
    with pytest.raises(outbound.Refused):
        outbound.post(url, b"", {})


@pytest.mark.parametrize("address", INSIDE)
def test_a_name_that_stands_for_an_address_inside_is_not_called(address: str, monkeypatch: pytest.MonkeyPatch) -> None:
    family = socket.AF_INET6 if ":" in address else socket.AF_INET
    found = [
        (family, socket.SOCK_STREAM, 6, "", ("93.184.215.14", 443)),
        (family, socket.SOCK_STREAM, 6, "", (address, 443)),
    ]
    monkeypatch.setattr(socket, "getaddrinfo", lambda *_, **__: found)
    monkeypatch.setattr(socket, "create_connection", lambda *_: pytest.fail("connected"))
    with pytest.raises(outbound.Refused):
        outbound.post("https://trap.example/", b"", {})


def test_a_name_that_changes_between_look_and_call_changes_nothing(monkeypatch: pytest.MonkeyPatch) -> None:
    """DNS rebinding: the first answer is public, every later one is this machine."""
    answers = iter(["93.184.215.14"])
    called: list[Any] = []

    def getaddrinfo(*_: Any, **__: Any) -> list[Any]:
        return [(socket.AF_INET, socket.SOCK_STREAM, 6, "", (next(answers, "127.0.0.1"), 443))]

    def create_connection(address: Any, *_: Any) -> Any:
        called.append(address)
        raise ConnectionRefusedError

    monkeypatch.setattr(socket, "getaddrinfo", getaddrinfo)
    monkeypatch.setattr(socket, "create_connection", create_connection)
    with pytest.raises(outbound.Unreachable):
        outbound.post("https://rebinding.example/", b"", {})
    assert called == [("93.184.215.14", 443)]


def test_this_machine_is_called_only_where_that_is_allowed() -> None:
    with receiving() as receiver:
        assert outbound.post(receiver.url, b"{}", {"x-test": "yes"}, allow_local=True).status == 204
        with pytest.raises(outbound.Refused):
            outbound.post(receiver.url, b"{}", {})
    (headers, body) = receiver.got[0]
    assert (headers["x-test"], body) == ("yes", b"{}")
    assert len(receiver.got) == 1


def test_a_redirect_is_an_answer_and_is_not_followed() -> None:
    with receiving() as inside, receiving(status=307, headers={"Location": "filled in below"}) as receiver:
        receiver.headers = {"Location": inside.url}
        assert outbound.post(receiver.url, b"{}", {}, allow_local=True).status == 307
        assert inside.got == []


def test_of_a_huge_answer_64_kilobytes_are_read() -> None:
    with receiving(status=200, body=b"x" * 10_000_000) as receiver:
        tracemalloc.start()
        before = tracemalloc.get_traced_memory()[0]
        tracemalloc.reset_peak()
        reply = outbound.post(receiver.url, b"{}", {}, allow_local=True)
        peak = tracemalloc.get_traced_memory()[1] - before
        tracemalloc.stop()
    assert len(reply.body) == 64 * 1024
    assert peak < 1_000_000


@pytest.mark.parametrize("answer", [{"after_seconds": 5.0}, {"status": 200, "drip": True}])
def test_who_answers_slowly_is_left_after_the_time_is_up(
    answer: dict[str, Any], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(outbound, "SECONDS", 0.4)
    with receiving(**answer) as receiver:
        began = time.monotonic()
        try:
            reply = outbound.post(receiver.url, b"{}", {}, allow_local=True)
        except outbound.Unreachable:
            pass
        else:
            assert len(reply.body) < 200  # what had come when the line was cut
        assert time.monotonic() - began < 2


def test_a_name_that_is_not_found_is_nobody(monkeypatch: pytest.MonkeyPatch) -> None:
    def getaddrinfo(*_: Any, **__: Any) -> Any:
        raise socket.gaierror

    monkeypatch.setattr(socket, "getaddrinfo", getaddrinfo)
    with pytest.raises(outbound.Unreachable, match="not found"):
        outbound.post("https://nobody.example/", b"", {})
