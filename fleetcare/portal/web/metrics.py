"""Figures for whoever watches the installation, in Prometheus' text format; off unless a token is set.

All are read from the database, so that every web process gives the same.
"""

import hmac
from collections.abc import Iterator
from typing import Any

from django.conf import settings
from django.db.models import Count
from django.http import Http404, HttpRequest, HttpResponse
from django.utils import timezone
from django.views.decorators.http import require_safe

from fleetcare.portal.web.health import reasons, waiting_seconds
from scheduling import selectors
from scheduling.services.hooks import waiting_hooks
from scheduling.services.letters.sending import waiting_letters

_TYPE = "text/plain; version=0.0.4; charset=utf-8"
Samples = list[tuple[str, float]]


@require_safe
def metrics(request: HttpRequest) -> HttpResponse:
    """404 while off and for whoever has no token: strangers do not learn that it is there."""
    scheme, _, token = request.headers.get("Authorization", "").partition(" ")
    sound = bool(settings.METRICS_TOKEN) and hmac.compare_digest(token.encode(), settings.METRICS_TOKEN.encode())
    if scheme != "Bearer" or not sound:
        raise Http404
    return HttpResponse("".join(_lines()), content_type=_TYPE)


def _lines() -> Iterator[str]:
    wrong = reasons()
    yield from _gauge("fleetcare_ready", "1 where requests can be served.", [("", 0 if wrong else 1)])
    if {"database", "migrations"} & set(wrong):
        return
    for name, told, samples in _figures():
        yield from _gauge(name, told, samples)


def _figures() -> Iterator[tuple[str, str, Samples]]:
    now = timezone.now()
    states = {"letters": selectors.every_letter(), "hooks": selectors.every_hook()}
    samples: Samples = []
    for queue, rows in states.items():
        for state, count in sorted(_by_state(rows).items()):
            samples.append((f'{{queue="{queue}",state="{state}"}}', count))
    yield "fleetcare_deliveries", "Mails and webhook messages by state.", samples
    yield (
        "fleetcare_oldest_delivery_seconds",
        "How long the oldest that could be sent waits.",
        [("", waiting_seconds() or 0)],
    )
    yield (
        "fleetcare_deliveries_sendable",
        "Whether something could be sent now.",
        [
            ('{queue="letters"}', int(bool(waiting_letters(now)))),
            ('{queue="hooks"}', int(bool(waiting_hooks(now)))),
        ],
    )
    yield (
        "fleetcare_stale_vehicles",
        "Vehicles whose figures wait to be computed anew.",
        [("", selectors.stale_standings(now.date()).count())],
    )
    yield (
        "fleetcare_fleets_with_events",
        "Fleets in which something waits to be passed on.",
        [("", len(selectors.fleets_with_waiting_events()))],
    )


def _by_state(rows: Any) -> dict[str, int]:
    counted = rows.order_by().select_related(None).values("state").annotate(n=Count("pk"))
    return {row["state"]: row["n"] for row in counted}


def _gauge(name: str, told: str, samples: Samples) -> Iterator[str]:
    yield f"# HELP {name} {told}\n# TYPE {name} gauge\n"
    for labels, value in samples:
        yield f"{name}{labels} {value}\n"
