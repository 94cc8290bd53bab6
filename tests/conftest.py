"""The fixed cast of every test: two fleets, one person in each role, a stranger, keys."""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import pytest
from django.conf import settings
from django.core.management.commands.flush import Command as FlushCommand
from django.db import connection
from django.utils import translation
from rest_framework.test import APIClient

from fleetcare.fleet.access import Access, system_access
from fleetcare.fleet.models import Fleet, User, Vehicle
from fleetcare.fleet.services.keys import create_key
from fleetcare.fleet.words import Role
from fleetcare.portal.exchange import kept_photos
from fleetcare.support.doing import erasing
from inspections.services import photos
from inspections.services.pictures import MOST_BYTES, Prepared, Refused, redrawn
from tests import factories
from tests.contract import ContractClient
from tests.schema import migrating_once

ROLES = (Role.OWNER, Role.PLANNER, Role.INSPECTOR, Role.VIEWER)


@pytest.fixture(scope="session", autouse=True)
def _cheap_passwords() -> None:
    # Argon2 is meant to be slow; the tests that are about it say so.
    settings.PASSWORD_HASHERS = ["django.contrib.auth.hashers.MD5PasswordHasher"]


@pytest.fixture(autouse=True)
def _language_of_nobody() -> Iterator[None]:
    # A page leaves its reader's language behind in the process; a server gives each request its own.
    yield
    translation.deactivate()


@pytest.fixture(scope="session")
def _kept_schema(request: pytest.FixtureRequest) -> pytest.MonkeyPatch:
    patch = pytest.MonkeyPatch()
    cache = getattr(request.config, "cache", None)
    if connection.vendor == "sqlite" and cache is not None:
        kept = migrating_once(cache.mkdir("schema"))
        patch.setattr("django.core.management.commands.migrate.Command.handle", kept)
    return patch


@pytest.fixture(scope="session")
def django_db_setup(_kept_schema: pytest.MonkeyPatch, django_db_setup: None) -> None:
    """As the plugin does it, over a schema that is migrated once; afterwards the command is itself again."""
    _kept_schema.undo()


@pytest.fixture(scope="session", autouse=True)
def _flushing_erases() -> None:
    # The audit trail refuses to be deleted; emptying the test database after a test with real commits may.
    flushed = FlushCommand.handle

    def handle(self: FlushCommand, **options: Any) -> None:
        with erasing():
            flushed(self, **options)

    FlushCommand.handle = handle


@pytest.fixture(scope="session", autouse=True)
def _pictures_decoded_here() -> None:
    # A process for each picture is what keeps strangers' files apart; `test_pictures` shows that it gives the same.
    def prepared(data: bytes) -> Prepared:
        if len(data) > MOST_BYTES:
            raise Refused("too-large")
        return redrawn(data)

    photos.prepared = kept_photos.prepared = prepared


@pytest.fixture(scope="session", autouse=True)
def _alone_at_the_end(django_db_setup: None, django_db_blocker: Any) -> Iterator[None]:
    """A thread of a race or of a served page may still hold its connection when the test database is to go."""
    yield
    with django_db_blocker.unblock():
        if connection.vendor == "postgresql":
            with connection.cursor() as cursor:
                cursor.execute(
                    "SELECT pg_terminate_backend(pid) FROM pg_stat_activity"
                    " WHERE datname = current_database() AND pid <> pg_backend_pid()"
                )


@dataclass(frozen=True)
class Cast:
    """A household with a member in each role, and a vehicle."""

    fleet: Fleet
    members: dict[Role, User]
    vehicle: Vehicle

    @property
    def access(self) -> Access:
        return system_access(self.fleet)

    def key(self, role: Role = Role.OWNER) -> str:
        return create_key(self.access, name=f"key of {role}", role=role)[1]


def make_cast(name: str) -> Cast:
    fleet = factories.FleetFactory(name=name)
    members = {role: factories.UserFactory(email=f"{role.value}@{name.lower()}.example") for role in ROLES}
    for role, user in members.items():
        factories.MembershipFactory(fleet=fleet, user=user, role=role)
    vehicle = factories.vehicle(fleet, name=f"{name} car")
    return Cast(fleet, members, vehicle)


@pytest.fixture
def cast(db: Any) -> Cast:
    return make_cast("Home")


@pytest.fixture
def strangers(db: Any) -> Cast:
    return make_cast("Elsewhere")


@pytest.fixture
def client_of(cast: Cast) -> Any:
    """A client with a key of the role; every answer is held against the OpenAPI description."""

    def made(role: Role = Role.OWNER, of: Cast = cast) -> APIClient:
        client = ContractClient()
        client.credentials(HTTP_AUTHORIZATION=f"Bearer {of.key(role)}")
        return client

    return made


@pytest.fixture
def api(client_of: Any) -> APIClient:
    """An owner's client."""
    client: APIClient = client_of(Role.OWNER)
    return client
