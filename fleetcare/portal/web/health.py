"""Is the process alive, and may it be sent work? No versions, no names: strangers may ask."""

from django.conf import settings
from django.db import connection
from django.db.migrations.executor import MigrationExecutor
from django.db.utils import Error
from django.http import HttpRequest, JsonResponse
from django.utils import timezone
from django.views.decorators.http import require_safe

from scheduling.services.ticking import late_since


@require_safe
def livez(request: HttpRequest) -> JsonResponse:
    """The process answers."""
    return JsonResponse({"status": "alive"})


@require_safe
def readyz(request: HttpRequest) -> JsonResponse:
    """200 when requests can be served, else 503 with what is wrong."""
    reasons = _reasons()
    waiting_seconds = None if reasons else _waiting_seconds()
    late = (waiting_seconds or 0) > settings.DELIVERIES_LATE_SECONDS
    answer = {
        "status": "not ready" if reasons else "ready",
        "reasons": reasons,
        # No reason to send nobody here: pages and API work without workers. Somebody should look, though.
        "warnings": ["deliveries"] if late else [],
        "oldest_delivery_seconds": waiting_seconds,
    }
    return JsonResponse(answer, status=503 if reasons else 200)


def _waiting_seconds() -> int | None:
    """How long the oldest mail or webhook that could have been sent waits."""
    since = late_since()
    return None if since is None else int((timezone.now() - since).total_seconds())


def _reasons() -> list[str]:
    try:
        executor = MigrationExecutor(connection)
    except Error:
        return ["database"]
    targets = executor.loader.graph.leaf_nodes()
    return ["migrations"] if executor.migration_plan(targets) else []
