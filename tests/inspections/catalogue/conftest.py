"""The catalogue that comes with the product, and a small one."""

import pytest

from inspections.catalogue.catalogue import Catalogue
from inspections.catalogue.loader import build_catalogue, default_catalogue
from tests.inspections.catalogue.sample import sample_files


@pytest.fixture(scope="session")
def catalogue() -> Catalogue:
    return default_catalogue()


@pytest.fixture(scope="session")
def sample() -> Catalogue:
    return build_catalogue(sample_files())
