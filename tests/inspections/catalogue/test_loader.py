"""The loader refuses what is wrong and says where: the file, the part, the field."""

from pathlib import Path

import pytest

from inspections.catalogue.faults import CatalogueError, Fault
from inspections.catalogue.loader import DATA, build_catalogue, default_catalogue, load_catalogue
from tests.inspections.catalogue.sample import BRAKES, VOCABULARY, broken, broken_word, sample_files

LIFE = "life = { km = 50000, years = 10, cv = 0.3, pf_km = 15000, km_weight = 0.9 }"


def faults_of(files: dict[str, bytes]) -> tuple[Fault, ...]:
    with pytest.raises(CatalogueError) as refused:
        build_catalogue(files)
    return refused.value.faults


def test_the_unbroken_sample_loads() -> None:
    assert list(build_catalogue(sample_files()).parts) == ["pads", "discs"]


@pytest.mark.parametrize(
    ("old", "new", "part", "field", "said"),
    [
        # shape
        ('title = "Pads"\n', "", "pads", "title", "missing required"),
        ('tool = "gauge"\n', "", "pads", "checks[thickness].tool", "missing required"),
        ('tool = "gauge"', 'tol = "gauge"', "pads", "checks[thickness].", "tol"),
        ("minutes = 2.0", 'minutes = "two"', "pads", "checks[condition].minutes", "Expected `float`"),
        ('unit = "mm"', "unit = 5", "pads", "checks[thickness].measurement.unit", "Expected `str`"),
        ('direction = "falls"', 'direction = "sinks"', "pads", "checks[thickness].measurement.direction", "sinks"),
        ('scheme = "uk"', 'scheme = "fr"', "pads", "checks[thickness].measurement.limits[#2].scheme", "fr"),
        ('grade = "major" },\n    { key = "gone"', 'grade = "bad" },\n    { key = "gone"', "pads", "cracked", "bad"),
        ('kind = "clean"', 'kind = "polish"', "pads", "jobs[clean].kind", "polish"),
        ("km = 50000", "km = 50000.5", "pads", "life.km", "Expected `int`"),
        ("eu_group = 1", 'eu_group = "one"', "", "eu_group", "Expected `int`"),
        ('title = "Brakes"\n', "", "", "title", "missing required"),
        ('[[parts]]\nkey = "pads"', "[[parts]]", "#1", "key", "missing required"),
        # the part itself
        ('key = "pads"', 'key = "Front_Pads"', "Front_Pads", "key", "kebab-case"),
        ('title = "Pads"', 'title = " "', "pads", "title", "empty"),
        (LIFE, LIFE.replace("50000", "0"), "pads", "life.km", "positive"),
        (LIFE, LIFE.replace("years = 10", "years = 0"), "pads", "life.years", "positive"),
        (LIFE, LIFE.replace("0.3", "-0.3"), "pads", "life.cv", "positive"),
        (LIFE, LIFE.replace("15000", "50000"), "pads", "life.pf_km", "shorter than the life"),
        (LIFE, LIFE.replace("15000", "-1"), "pads", "life.pf_km", "negative"),
        (LIFE, LIFE.replace("0.9 }", "1.1 }"), "pads", "life.km_weight", "between 0 and 1"),
        (LIFE, LIFE.replace("0.9 }", '0.9, source = "" }'), "pads", "life.source", "empty"),
        ('"front-left", "front-right"]', '"front-left", "middle"]', "pads", "positions", '"middle"'),
        ('"front-left", "front-right"]', '"front-right", "front-right"]', "pads", "positions[front-right]", "twice"),
        ('front-right = ["body=car"]', 'rear = ["body=car"]', "pads", "position_needs.rear", "no such position"),
        # failure
        ("cost_factor = 1.5", "cost_factor = 0.5", "pads", "failure.cost_factor", "at least 1"),
        ("incident_eur = 300", "incident_eur = -1", "pads", "failure.incident_eur", "negative"),
        ("danger_eur_per_1000_km = 40\n", "", "pads", "failure.danger_eur_per_1000_km", "safety part must say"),
        ("safety = true\n", "", "pads", "failure.danger_eur_per_1000_km", "only a safety part"),
        ("factor = 8.0", "factor = 0.8", "pads", "failure.damages[discs].factor", "at least 1"),
        ('part = "discs"', 'part = "dics"', "pads", "failure.damages[dics].part", 'unknown part "dics"'),
        ('why = "Metal on metal."', 'why = ""', "pads", "failure.damages[discs].why", "empty"),
        # checks
        ('key = "condition"', 'key = "thickness"', "pads", "checks[thickness].key", "twice"),
        ("minutes = 2.0", "minutes = 0", "pads", "checks[condition].minutes", "positive"),
        ('method = "Look."', 'method = ""', "pads", "checks[condition].method", "empty"),
        ('station = "walk-round"', 'station = "pit"', "pads", "checks[condition].station", 'unknown station "pit"'),
        ('["brake-dust"]', '["dust"]', "pads", "checks[condition].cautions", 'unknown caution "dust"'),
        (
            'sheets = ["wheels-off"]',
            'sheets = ["yearly"]',
            "pads",
            "checks[thickness].sheets",
            'unknown sheet "yearly"',
        ),
        ('sheets = ["wheels-off"]', 'sheets = ["full"]', "pads", "checks[thickness].sheets", "never listed"),
        ('key = "uneven"', 'key = "cracked"', "pads", "checks[condition].observations[cracked].key", "twice"),
        (
            'observations = [{ key = "worn", title = "Worn", grade = "major" }]',
            "",
            "discs",
            "checks[surface].observations",
            "a measurement or observations",
        ),
        ('grade = "major" }]', 'grade = "sound" }]', "discs", "checks[surface].observations", "not sound"),
        # measurement
        ("minor = 4.0", "minor = 13.0", "pads", "checks[thickness].measurement.minor", "13 comes before new"),
        ("value = 3.0", "value = 5.0", "pads", "checks[thickness].measurement.limits[eu]", "5 comes before minor"),
        ("dangerous = 1.0", "dangerous = 2.0", "pads", "checks[thickness].measurement.dangerous", "before limits[uk]"),
        ("most = 20.0", "most = 10.0", "pads", "checks[thickness].measurement.new", "outside 0 to 10"),
        ("least = 0.0", "least = 1.2", "pads", "checks[thickness].measurement.dangerous", "outside 1.2 to 20"),
        ("noise_sd = 0.4", "noise_sd = 0.0", "pads", "checks[thickness].measurement.noise_sd", "positive"),
        ('scheme = "uk"', 'scheme = "eu"', "pads", "checks[thickness].measurement.limits[eu]", "twice"),
        ('source = "a rule"', 'source = ""', "pads", "checks[thickness].measurement.limits[eu].source", "empty"),
        # jobs
        ("hours = 1.0", "hours = 0", "pads", "jobs[replace].hours", "positive"),
        ("low = 40", "low = 70", "pads", "jobs[replace].parts_eur", "70, 60, 90"),
        ('access = ["wheel-off"]', 'access = ["bonnet-off"]', "pads", "jobs[replace].access", '"bonnet-off"'),
        ('access = ["wheel-off"]', 'access = ["wheel-off.top"]', "pads", "jobs[replace].access", '"top"'),
        ('"wheel-off.front", ', '"wheel-off", ', "discs", "jobs[replace].access", "say at which wheel"),
        ('"undertray-off"]', '"undertray-off.front"]', "discs", "jobs[replace].access", "of the whole vehicle"),
        ('["brake-bleed"]', '["polish"]', "pads", "jobs[replace].follow_ups", 'unknown follow-up "polish"'),
        ("parts_eur = { low = 80", "renews = false\nparts_eur = { low = 80", "discs", "jobs", "renews"),
        # traits
        ('needs = ["brakes-front=disc"]', 'needs = ["brakes=disc"]', "pads", "needs", 'unknown trait "brakes"'),
        ('needs = ["brakes-front=disc"]', 'needs = ["brakes-front=disk"]', "pads", "needs", 'unknown value "disk"'),
        ('needs = ["brakes-front=disc"]', 'needs = ["brakes-front"]', "pads", "needs", "not of the form"),
        ('["body=car"]', '["body=car|bus"]', "pads", "position_needs.front-right", 'unknown value "bus"'),
    ],
)
def test_a_broken_part_is_refused_with_file_part_and_field(
    old: str, new: str, part: str, field: str, said: str
) -> None:
    faults = faults_of(broken(old, new))
    assert {fault.file for fault in faults} == {"brakes.toml"}
    assert any(fault.part == part and field in fault.field and said in fault.message for fault in faults), faults


@pytest.mark.parametrize(
    ("file", "old", "new", "entry", "field", "said"),
    [
        ("stations.toml", "setup_minutes = 8", "setup_minutes = -8", "raised-corner", "setup_minutes", "negative"),
        ("stations.toml", '["stands", "wheel-spin"', '["wheel-spin"', "raised-corner", "cautions", '"stands"'),
        ("stations.toml", 'raises = "corner"', 'raises = "front"', "raised-corner", "raises", "per corner"),
        ("stations.toml", '"hot-exhaust"', '"hot-pipe"', "underneath-front", "cautions", 'unknown caution "hot-pipe"'),
        ("stations.toml", 'title = "In the cabin"', "", "cabin", "title", "missing required"),
        ("cautions.toml", 'key = "fuel"', 'key = "crush"', "crush", "key", "twice"),
        ("access.toml", "hours = 0.25", "hours = -1", "wheel-off", "hours", "negative"),
        ("access.toml", 'per = "corner"', 'per = "wheel"', "wheel-off", "per", "wheel"),
        ("follow-ups.toml", "eur = 70", "eur = -70", "wheel-alignment", "eur", "negative"),
        ("sheets.toml", 'key = "full"', 'key = "whole"', "full", "", "missing"),
        ("sheets.toml", "[[sheets]]", "[[lists]]", "", "lists", "unknown table"),
        ("traits.toml", 'default = "petrol"', 'default = "steam"', "fuel", "default", '"steam"'),
        (
            "traits.toml",
            'when = "fuel=electric"',
            'when = "fuel=steam"',
            "gearbox",
            "implied[fuel=steam].when",
            "steam",
        ),
        ("traits.toml", 'when = "fuel=electric"', 'when = "turbo=yes"', "gearbox", "implied[turbo=yes].when", "before"),
        ("traits.toml", 'value = "single-speed"', 'value = "none"', "gearbox", "implied[fuel=electric].value", "none"),
    ],
)
def test_a_broken_vocabulary_is_refused_with_file_entry_and_field(
    file: str, old: str, new: str, entry: str, field: str, said: str
) -> None:
    faults = faults_of(broken_word(file, old, new))
    assert any(
        fault.file == f"vocabulary/{file}" and fault.part == entry and fault.field == field and said in fault.message
        for fault in faults
    ), faults


def test_all_faults_of_a_file_are_told_at_once() -> None:
    text = BRAKES.replace("minutes = 2.0", 'minutes = "two"').replace('tool = "gauge"\n', "")
    text = text.replace("hours = 2.0", "hours = true").replace('what = "Breaks."\n', "")
    assert [(fault.part, fault.field) for fault in faults_of(sample_files(text))] == [
        ("pads", "checks[thickness].tool"),
        ("pads", "checks[condition].minutes"),
        ("discs", "jobs[replace].hours"),
        ("discs", "failure.what"),
    ]


def test_faults_of_several_files_are_told_at_once() -> None:
    files = broken("minor = 4.0", "minor = 13.0") | {
        "steering.toml": BRAKES.replace("brakes", "steering", 1).replace('"pads"', '"rods"').encode()
    }
    told = {(fault.file, fault.part, fault.field) for fault in faults_of(files)}
    assert ("brakes.toml", "pads", "checks[thickness].measurement.minor") in told
    assert ("steering.toml", "discs", "key") in told


def test_the_error_reads_as_file_part_field_and_reason() -> None:
    with pytest.raises(CatalogueError) as refused:
        build_catalogue(broken("hours = 1.0", "hours = -1"))
    error = refused.value
    assert (error.file, error.part, error.field) == ("brakes.toml", "pads", "jobs[replace].hours")
    assert str(error) == "brakes.toml: pads: jobs[replace].hours: must be positive, not -1"


def test_a_part_in_two_files_is_refused_naming_both() -> None:
    again = BRAKES.replace('key = "brakes"', 'key = "steering"').encode()
    faults = faults_of({**sample_files(), "steering.toml": again})
    assert [(fault.file, fault.part, fault.message) for fault in faults] == [
        ("steering.toml", "pads", "the part is already in brakes.toml"),
        ("steering.toml", "discs", "the part is already in brakes.toml"),
    ]


def test_a_part_twice_in_one_file_is_refused() -> None:
    faults = faults_of(broken('key = "discs"', 'key = "pads"'))
    assert Fault("brakes.toml", "pads", "key", "the part is already in brakes.toml") in faults


def test_a_system_in_two_files_is_refused() -> None:
    again = BRAKES.replace('"pads"', '"rods"').replace('"discs"', '"racks"').encode()
    assert [fault.field for fault in faults_of({**sample_files(), "steering.toml": again})] == ["key"]


@pytest.mark.parametrize("content", [b"key = ", b"\xff\xfe", b"[[parts]\n"], ids=["cut off", "not text", "bracket"])
def test_a_file_that_is_not_toml_is_refused_by_name(content: bytes) -> None:
    faults = faults_of({**sample_files(), "steering.toml": content})
    assert [(fault.file, fault.part) for fault in faults] == [("steering.toml", "")]
    assert "not readable as TOML" in faults[0].message


@pytest.mark.parametrize("name", sorted(VOCABULARY))
def test_a_missing_vocabulary_is_named(name: str) -> None:
    files = {other: content for other, content in sample_files().items() if other != name}
    assert Fault(name, "", "", "the file is missing") in faults_of(files)


def test_an_unknown_vocabulary_file_is_refused() -> None:
    assert "unknown vocabulary" in faults_of({**sample_files(), "vocabulary/colours.toml": b""})[0].message


def test_an_empty_folder_is_refused(tmp_path: Path) -> None:
    with pytest.raises(CatalogueError, match="there is no system file"):
        load_catalogue(tmp_path)


def test_a_copied_folder_loads_with_the_same_digest(tmp_path: Path) -> None:
    for name, content in sample_files().items():
        (tmp_path / name).parent.mkdir(exist_ok=True)
        (tmp_path / name).write_bytes(content)
    assert load_catalogue(tmp_path).digest == build_catalogue(sample_files()).digest


def test_any_change_of_content_changes_the_digest() -> None:
    digests = {
        build_catalogue(files).digest
        for files in (sample_files(), broken("hours = 1.0", "hours = 1.1"), broken_word("follow-ups.toml", "70", "71"))
    }
    assert len(digests) == 3
    assert all(len(digest) == 64 for digest in digests)


def test_the_digest_tells_a_name_from_the_content_after_it() -> None:
    content = sample_files()["brakes.toml"]
    assert content.startswith(b"\n")
    moved = {**VOCABULARY, "brakes.toml\n": content[1:]}
    assert build_catalogue(moved).digest != build_catalogue(sample_files()).digest


def test_the_order_in_which_files_are_given_changes_nothing() -> None:
    files = sample_files()
    turned = dict(reversed(files.items()))
    assert build_catalogue(turned).slots == build_catalogue(files).slots
    assert build_catalogue(turned).digest == build_catalogue(files).digest


def test_the_default_catalogue_is_read_once() -> None:
    assert default_catalogue() is default_catalogue()
    assert default_catalogue().digest == load_catalogue(DATA).digest


def test_a_system_that_a_fleet_adds_follows_the_known_ones() -> None:
    own = BRAKES.replace('"brakes"', '"awning"', 1).replace('"pads"', '"poles"').replace('"discs"', '"ropes"')
    extended = build_catalogue({"awning.toml": own.encode(), **sample_files()})
    assert list(extended.systems) == ["brakes", "awning"]
    assert list(extended.parts) == ["pads", "discs", "poles", "ropes"]
