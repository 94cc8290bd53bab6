"""Is the process alive, and may it be sent work? No versions, no names: strangers may ask."""

from django.db import connection
from django.db.migrations.executor import MigrationExecutor
from django.db.utils import Error
from django.http import HttpRequest, JsonResponse
from django.views.decorators.http import require_safe


@require_safe
def livez(request: HttpRequest) -> JsonResponse:
    """The process answers."""
    return JsonResponse({"status": "alive"})


@require_safe
def readyz(request: HttpRequest) -> JsonResponse:
    """200 when requests can be served, else 503 with what is wrong."""
    reasons = _reasons()
    return JsonResponse(
        {"status": "not ready" if reasons else "ready", "reasons": reasons}, status=503 if reasons else 200
    )


def _reasons() -> list[str]:
    try:
        executor = MigrationExecutor(connection)
    except Error:
        return ["database"]
    targets = executor.loader.graph.leaf_nodes()
    return ["migrations"] if executor.migration_plan(targets) else []
