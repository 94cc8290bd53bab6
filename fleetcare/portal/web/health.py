"""Is the process alive, and may it be sent work? No versions, no names: strangers may ask."""

import os

from django.conf import settings
from django.db import connection
from django.db.migrations.executor import MigrationExecutor
from django.db.utils import Error
from django.http import HttpRequest, JsonResponse
from django.utils import timezone
from django.views.decorators.http import require_safe
from redis import Redis
from redis.backoff import NoBackoff
from redis.exceptions import RedisError
from redis.retry import Retry

from scheduling.services.ticking import late_since

_BROKER_SECONDS = 1.5


@require_safe
def livez(request: HttpRequest) -> JsonResponse:
    """The process answers."""
    return JsonResponse({"status": "alive"})


@require_safe
def readyz(request: HttpRequest) -> JsonResponse:
    """200 when requests can be served, else 503 with what is wrong."""
    wrong = reasons()
    oldest_seconds = None if {"database", "migrations"} & set(wrong) else waiting_seconds()
    late = (oldest_seconds or 0) > settings.DELIVERIES_LATE_SECONDS
    answer = {
        "status": "not ready" if wrong else "ready",
        "reasons": wrong,
        # No reason to send nobody here: pages and API work without workers. Somebody should look, though.
        "warnings": ["deliveries"] if late else [],
        "oldest_delivery_seconds": oldest_seconds,
    }
    return JsonResponse(answer, status=503 if wrong else 200)


def waiting_seconds() -> int | None:
    """How long the oldest mail or webhook that could have been sent waits."""
    since = late_since()
    return None if since is None else int((timezone.now() - since).total_seconds())


def reasons() -> list[str]:
    """What is wrong: the database, its tables, the broker; each asked for a few seconds at most."""
    return [*_database_reasons(), *_broker_reasons()]


def _database_reasons() -> list[str]:
    try:
        executor = MigrationExecutor(connection)
    except Error:
        return ["database"]
    targets = executor.loader.graph.leaf_nodes()
    return ["migrations"] if executor.migration_plan(targets) else []


def _broker_reasons() -> list[str]:
    if settings.BELL != "broker":
        return []
    if not settings.CELERY_BROKER_URL.startswith("redis"):
        return [] if os.access(settings.QUEUE_DIR / "messages", os.W_OK) else ["broker"]
    broker = Redis.from_url(
        settings.CELERY_BROKER_URL,
        socket_timeout=_BROKER_SECONDS,
        socket_connect_timeout=_BROKER_SECONDS,
        retry=Retry(NoBackoff(), 0),
    )
    try:
        broker.ping()
    except (RedisError, OSError):
        return ["broker"]
    finally:
        broker.close()
    return []
