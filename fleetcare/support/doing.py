"""Who is doing what is being done, and from where: set once for a request or a task, read where a write is recorded.

It travels beside the calls instead of through them, so that no service can forget to pass it on.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass

from django.http import HttpRequest, HttpResponse

from fleetcare.support.throttling import client_address

SYSTEM, STRANGER = "system", "stranger"
"""The software itself, outside any request; and whoever asks before it is known who that is, for example by a link."""


@dataclass(slots=True)
class Doing:
    """`actor` is "user:<id>", "key:<id>", "system" or "stranger"."""

    actor: str = SYSTEM
    address: str = ""
    request_id: str = ""
    is_erasing: bool = False


_doing: ContextVar[Doing | None] = ContextVar("doing", default=None)


def current() -> Doing:
    """What is being done here and now."""
    return _doing.get() or Doing()


@contextmanager
def _as(doing: Doing) -> Iterator[None]:
    token = _doing.set(doing)
    try:
        yield
    finally:
        _doing.reset(token)


@contextmanager
def acting(actor: str) -> Iterator[None]:
    """What is done inside is done for `actor`: for workers that finish what a person asked for."""
    now = current()
    with _as(Doing(actor, now.address, now.request_id, now.is_erasing)):
        yield


@contextmanager
def erasing() -> Iterator[None]:
    """Inside, records of what was done may be deleted, and deleting is not recorded: for erasing a whole fleet."""
    now = current()
    with _as(Doing(now.actor, now.address, now.request_id, is_erasing=True)):
        yield


def name_actor(actor: str) -> None:
    """Says who is behind the request at hand, once that is known; outside a request nothing changes."""
    doing = _doing.get()
    if doing is not None and doing.request_id:
        doing.actor = actor


class DoingMiddleware:
    """Begins each request as a stranger's, from its address and under its id."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        request_id = getattr(request, "request_id", "")
        with _as(Doing(STRANGER, client_address(request), request_id)):
            return self.get_response(request)
