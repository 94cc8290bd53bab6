"""Money in a body: a decimal string with the digits of its currency."""

from typing import Any

import pytest

from tests.conftest import Cast


def rate(api: Any, cast: Cast, amount: object, currency: str) -> Any:
    return api.patch(f"/api/v1/fleets/{cast.fleet.pk}/", {"labour_per_hour": {"amount": amount, "currency": currency}})


@pytest.mark.parametrize(("currency", "amount"), [("JPY", "1500"), ("EUR", "15.50"), ("BHD", "15.505")])
def test_an_amount_comes_back_as_it_was_sent(api: Any, cast: Cast, currency: str, amount: str) -> None:
    cast.fleet.currency = currency
    cast.fleet.save(update_fields=["currency"])
    assert rate(api, cast, amount, currency).json()["labour_per_hour"] == {"amount": amount, "currency": currency}


@pytest.mark.parametrize(
    ("amount", "currency", "place"),
    [
        ("15.505", "EUR", "/labour_per_hour/amount"),
        ("1e3", "EUR", "/labour_per_hour/amount"),
        ("-1", "EUR", "/labour_per_hour/amount"),
        ("15", "USD", "/labour_per_hour/currency"),
    ],
)
def test_an_amount_that_the_fleet_cannot_have_is_refused(
    api: Any, cast: Cast, amount: str, currency: str, place: str
) -> None:
    response = rate(api, cast, amount, currency)
    assert response.status_code == 400
    assert [fault["pointer"] for fault in response.json()["errors"]] == [place]
