"""The file of signs: what ships is whole, and what is wrong is named."""

import numpy as np
import pytest

from inspections.catalogue.catalogue import Catalogue
from inspections.catalogue.faults import CatalogueError
from inspections.catalogue.signs import Signs, build_signs, default_signs, load_signs
from inspections.core.suspects import suspect_parts
from inspections.core.trouble_codes import parse_code

GOOD = """
complaints = [{ key = "squeal", title = "Squeals when braking" }]
codes = [{ code = "C0035", meaning = "left front wheel speed circuit" }]
signs = [
    { sign = "squeal", part = "pads", present_fraction = 0.6 },
    { sign = "C0035", part = "pads", present_fraction = 0.1, positions = ["front-left"] },
    { sign = "finding:discs", part = "pads", present_fraction = 0.3 },
]
backgrounds = [
    { sign = "squeal", fraction = 0.02 },
    { sign = "C0035", fraction = 0.004 },
    { sign = "finding:discs", fraction = 0.05 },
]
"""


def faults_of(sample: Catalogue, old: str, new: str) -> list[str]:
    assert old in GOOD
    with pytest.raises(CatalogueError) as refused:
        build_signs(GOOD.replace(old, new, 1).encode(), sample)
    return [str(fault) for fault in refused.value.faults]


def test_a_good_file_becomes_a_table_of_the_slots(sample: Catalogue) -> None:
    signs = build_signs(GOOD.encode(), sample)
    table = signs.table(sample.slots)
    slots = [(slot.part_key, slot.position) for slot in sample.slots]
    left, right = slots.index(("pads", "front-left")), slots.index(("pads", "front-right"))
    assert table.shows_fraction[:, left].tolist() == [0.6, 0.1, 0.3]
    assert table.shows_fraction[:, right].tolist() == [0.6, 0.0, 0.3]
    assert table.background_fraction.tolist() == [0.02, 0.004, 0.05]
    assert signs.rows["C0035"] == 1
    assert signs.meaning(parse_code("c0035")) == "left front wheel speed circuit"
    assert signs.meaning(parse_code("P1234")) is None


@pytest.mark.parametrize(
    ("old", "new", "fault"),
    [
        ('part = "pads"', 'part = "pad"', "pad: part: is no part of the catalogue"),
        ('positions = ["front-left"]', 'positions = ["rear-left"]', "“rear-left” is no place of it"),
        ('sign = "squeal", part', 'sign = "squeel", part', "squeel: sign: is no complaint or code"),
        ('sign = "finding:discs", part', 'sign = "finding:disc", part', "finding:disc: sign: is no complaint or code"),
        ('{ sign = "squeal", fraction = 0.02 },', "", "squeal: backgrounds: has no background fraction"),
        ('code = "C0035"', 'code = "c0035"', "c0035: code: write it in capitals"),
        ('code = "C0035"', 'code = "CO035"', "letter O"),
        ('sign = "C0035", fraction', 'sign = "squeal", fraction', "squeal: backgrounds: is there twice"),
        ("present_fraction = 0.6", "present_fraction = 1.6", "`$.signs[0].present_fraction`"),
        ("present_fraction = 0.6", "present_fraction = 0.0", "`$.signs[0].present_fraction`"),
        ("present_fraction = 0.6", "present_fractoin = 0.6", "`$.signs[0]`"),
        ('sign = "finding:discs", part', 'sign = "squeal", part', "“squeal” is there twice"),
        ("complaints = [", "complaints = ", "signs.toml"),
    ],
)
def test_what_is_wrong_is_named_with_its_place(sample: Catalogue, old: str, new: str, fault: str) -> None:
    assert any(fault in said for said in faults_of(sample, old, new))


def test_a_missing_file_is_a_fault(sample: Catalogue, tmp_path: pytest.TempPathFactory) -> None:
    with pytest.raises(CatalogueError, match="missing"):
        load_signs(sample, tmp_path)


@pytest.fixture(scope="module")
def signs() -> Signs:
    return default_signs()


class TestShippedSigns:
    def first_suspect(self, catalogue: Catalogue, signs: Signs, *keys: str) -> str:
        """The part most suspected on a petrol car whose parts are all as likely to be bad."""
        slots = [catalogue.slots[row] for row in catalogue.applicable_slots({})]
        present = np.zeros(len(signs.rows), dtype=bool)
        present[[signs.rows[key] for key in keys]] = True
        found = suspect_parts(np.full(len(slots), 0.03), signs.table(slots), present, np.zeros_like(present))
        return slots[found.part[0]].part_key

    def test_a_crankshaft_sensor_is_found_by_its_code_and_a_dead_start(
        self, catalogue: Catalogue, signs: Signs
    ) -> None:
        # common practice, no source
        assert self.first_suspect(catalogue, signs, "P0335", "turns-over-does-not-start") == "crankshaft-sensor"

    def test_clicking_on_full_lock_is_a_driveshaft_joint(self, catalogue: Catalogue, signs: Signs) -> None:
        # common practice, no source
        assert "joint" in self.first_suspect(catalogue, signs, "clicking-on-full-lock")

    def test_every_complaint_and_code_points_at_some_part(self, signs: Signs) -> None:
        pointed = {link.sign for link in signs.links}
        assert {*signs.complaints, *signs.meanings} <= pointed

    def test_only_generic_codes_are_given_a_meaning(self, signs: Signs) -> None:
        assert all(parse_code(code).origin == "generic" for code in signs.meanings)

    def test_no_sign_is_commoner_without_a_cause_than_with_its_best_one(self, signs: Signs) -> None:
        best = {link.sign: 0.0 for link in signs.links}
        for link in signs.links:
            best[link.sign] = max(best[link.sign], link.present_fraction)
        assert {sign for sign, shown in best.items() if shown <= signs.backgrounds[sign]} == set()
