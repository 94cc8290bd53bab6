"""SQLite with the number of parameters a statement may have since its version 3.32 (2020)."""

from django.db.backends.sqlite3 import base

PARAMETERS = 32_766


def allow_full_batches() -> None:
    """Django counts with 999, the limit before 3.32, and splits a batch of fifty vehicles into many statements."""
    base.DatabaseFeatures.max_query_params = PARAMETERS  # type: ignore[attr-defined, method-assign, assignment]
