"""Each scope taken away in turn: the foreign thing must then be answered as if it were one's own, or a test is missing.

By command, not in the suite: `pytest tests/tenancy/each_scope.py -s`. Every place in the source that narrows rows to a
fleet is found by watching which ones the matrix passes: calls with a foreign id, and every reading of one's own. Then
the same calls are made with that one place narrowing nothing, and the answers are held against what they were: that of
an id that nobody has, and one's own rows only. What is never passed, and what changes no answer because another scope
stands behind it, is listed.
"""

import re
import sys
import uuid
from collections import defaultdict
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest

from fleetcare.fleet.models import JobExperience, JobPrice, WorkTerms
from fleetcare.fleet.services.leaving import leave_fleet
from fleetcare.support.tenancy import TenantQuerySet
from scheduling.models import ReminderChoice, UnwantedVehicle
from tests.scheduling.work_given import PADS_JOB
from tests.tenancy.policy import POLICY
from tests.tenancy.test_matrix import World, _call, _replaceable
from tests.tenancy.test_matrix import world as world

ROOT = Path(__file__).parents[2]
SOURCES = ("fleetcare", "inspections", "scheduling")
Site = tuple[str, int]
Call = tuple[str, str, str]
"""Method, route, and which id of it is foreign; none: one's own."""
FILES = re.compile(r"(image|thumbnail|file)/$|\.pdf$|^schema/")
_narrowed = TenantQuerySet.within


def every_site() -> set[Site]:
    """Every line of the source that narrows."""
    found = set()
    for package in SOURCES:
        for path in (ROOT / package).rglob("*.py"):
            if "migrations" not in path.parts:
                for number, line in enumerate(path.read_text(encoding="utf-8").splitlines(), 1):
                    if ".within(" in line:
                        found.add((path.relative_to(ROOT).as_posix(), number))
    return found


def _caller() -> Site:
    """Where in our source it was asked for; Django's managers stand in between."""
    frame = sys._getframe(2)
    while frame.f_back is not None:
        path = Path(frame.f_code.co_filename)
        if path.is_relative_to(ROOT) and path.relative_to(ROOT).parts[0] in SOURCES:
            return path.relative_to(ROOT).as_posix(), frame.f_lineno
        frame = frame.f_back
    return "", 0


@contextmanager
def watching(passed: set[Site], without: Site | None = None) -> Iterator[None]:
    """Notes each place that narrows; one of them does not."""

    def within(self: Any, fleet: Any) -> Any:
        site = _caller()
        passed.add(site)
        return self.all() if site == without else _narrowed(self, fleet)

    TenantQuerySet.within = within  # type: ignore[method-assign]
    try:
        yield
    finally:
        TenantQuerySet.within = _narrowed  # type: ignore[method-assign]


def furnish(world: World) -> None:
    """The other fleet has what this one has not: where a single row is looked for, theirs would be found first."""
    home = world.home
    leave_fleet(home.access)
    WorkTerms.objects.create(fleet=home.fleet, hardest_own=1, tools=["planted"])
    JobPrice.objects.within(home.fleet).update(note="theirs", hours=99)
    JobExperience.objects.create(fleet=home.fleet, job_key=PADS_JOB, hours=[77], parts_minor=[777_700])
    UnwantedVehicle.objects.create(
        fleet=home.fleet, vehicle=home.vehicle, reader=ReminderChoice.objects.within(home.fleet).first()
    )


def asked(world: World, call: Call, *, missing: bool = False) -> Any:
    """As the owner of the fleet that was made last."""
    method, route, at = call
    if not at:
        return _call(world.actors["abroad owner"], method, route, world.ids["foreign"])
    key = uuid.UUID(int=7) if missing else world.ids["own"][at]
    return _call(world.actors["abroad owner"], method, route, {**world.ids["foreign"], at: key})


@pytest.mark.timeout(3600)
def test_each_scope_taken_away_is_noticed(world: World) -> None:
    furnish(world)
    calls = [(method, route, at) for route, method in POLICY for at in _replaceable(route)]
    # Pictures and papers are made anew each time and say so; everything else reads the same twice.
    calls += [(method, route, "") for route, method in POLICY if method == "GET" and not FILES.search(route)]
    passing: dict[Site, list[Call]] = defaultdict(list)
    usual: dict[Call, tuple[int, bytes]] = {}
    for call in calls:
        gone = asked(world, call, missing=True)
        passed: set[Site] = set()
        with watching(passed):
            answer = asked(world, call)
        usual[call] = (gone.status_code, gone.content)
        assert (answer.status_code, answer.content) == usual[call] or answer.status_code == 409 or not call[2], call
        if (answer.status_code, answer.content) != usual[call]:
            continue
        for site in passed:
            passing[site].append(call)
    noticed, hidden = [], []
    for site, through in sorted(passing.items()):
        (noticed if _is_noticed(world, site, through, usual) else hidden).append(site)
    unpassed = sorted(every_site() - set(passing))
    print(f"\n{len(noticed)} of {len(passing)} scopes that foreign ids pass are noticed when taken away.")
    for title, sites in (("Behind another scope", hidden), ("Not passed by a foreign id", unpassed)):
        print(f"{title}: {len(sites)}")
        for path, number in sites:
            print(f"  {path}:{number}: {_line(path, number)}")
    assert noticed
    # The first scope an id meets, straight after the fleet, is always noticed.
    straight = [site for site in hidden if re.search(r"within\(\w*access\.fleet\)\.one\(", _line(*site))]
    assert not straight


def _line(path: str, number: int) -> str:
    return (ROOT / path).read_text(encoding="utf-8").splitlines()[number - 1].strip() if path else ""


def _is_noticed(world: World, site: Site, through: list[Call], usual: dict[Call, tuple[int, bytes]]) -> bool:
    with watching(set(), without=site):
        for call in through:
            try:
                answer = asked(world, call)
            except Exception:  # noqa: BLE001 - whatever breaks is noticed
                return True
            if (answer.status_code, answer.content) != usual[call]:
                return True
    return False
