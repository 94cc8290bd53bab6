"""No page shows a value of the program where a reader expects words: a repr, a bare None, an address in memory."""

from collections.abc import Iterator
from typing import Any

import pytest
from django.db import transaction
from django.test import Client

from fleetcare.fleet.words import Role
from inspections.catalogue.loader import default_catalogue
from tests.conftest import make_cast
from tests.fleetcare.portal.every_page import STRANGERS, furnished
from tests.fleetcare.portal.raw_values import raw_values


@pytest.mark.parametrize(
    "html",
    [
        "<p>GradeShown(key='minor', word='minor')</p>",
        "<p>GradeShown(key=&#x27;minor&#x27;)</p>",
        "<td>None</td>",
        '<input value="None">',
        "<p>seen None · front</p>",
        "<p>[&#x27;front&#x27;]</p>",
        "<p>{'a': 1}</p>",
        "<p>&lt;Job object at 0x7f00&gt;</p>",
        "<p>&lt;QuerySet []&gt;</p>",
        "<p>Decimal('3.5')</p>",
        "<p>datetime.date(2026, 1, 2)</p>",
        "<b>nan</b>",
    ],
)
def test_a_raw_value_is_found(html: str) -> None:
    assert raw_values(html)


@pytest.mark.parametrize(
    "html",
    [
        "<p>None of these parts was seen.</p>",
        "<p>Renew the shoe (rear) · it's worn, ‘by eye’</p>",
        "<script>var a = {};</script><p>50 % (3 of 6)</p>",
    ],
)
def test_words_are_no_raw_values(html: str) -> None:
    assert raw_values(html) == []


@pytest.fixture
def answers(db: Any) -> Iterator[dict[str, Any]]:
    """Every page, asked for once by the owner of a fleet with something on each."""
    with transaction.atomic():
        cast = make_cast("Home")
        cast.vehicle.make, cast.vehicle.model = "Qz", "Kx9"
        cast.vehicle.save(update_fields=["make", "model"])
        owner, places = Client(), furnished(cast)
        owner.force_login(cast.members[Role.OWNER])
        yield {name: (Client() if name in STRANGERS else owner).get(address) for name, address in places.items()}


@pytest.mark.slow
@pytest.mark.timeout(300)
def test_no_page_shows_a_value_of_the_program(answers: dict[str, Any]) -> None:
    """The quick form of this, for fewer pages, is in `test_page_markup.py`."""
    assert len(answers) > 50
    found = {name: raw_values(answer.content.decode()) for name, answer in answers.items()}
    traits = {value.title for trait in default_catalogue().traits.values() for value in trait.values}
    for name in ("vehicle-add", "vehicle-change"):
        # A vehicle may have no help at the steering wheel: the choice is called "None".
        found[name] = [text for text in found[name] if text not in traits]
    assert {name: values for name, values in found.items() if values} == {}
