"""Real processes are started as in the system tests."""

from tests.system.conftest import installation, postgres_url

__all__ = ["installation", "postgres_url"]
