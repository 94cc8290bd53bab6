"""A small catalogue of two parts, to be broken in tests; the vocabularies are the real ones."""

from inspections.catalogue.loader import DATA

VOCABULARY = {f"vocabulary/{path.name}": path.read_bytes() for path in (DATA / "vocabulary").glob("*.toml")}

BRAKES = """
key = "brakes"
title = "Brakes"
eu_group = 1

[[parts]]
key = "pads"
title = "Pads"
safety = true
positions = ["front-left", "front-right"]
needs = ["brakes-front=disc"]
life = { km = 50000, years = 10, cv = 0.3, pf_km = 15000, km_weight = 0.9 }

[parts.failure]
what = "No lining left."
cost_factor = 1.5
tow = true
incident_eur = 300
danger_eur_per_1000_km = 40
damages = [{ part = "discs", factor = 8.0, from_grade = "dangerous", eur = 100, why = "Metal on metal." }]

[parts.position_needs]
front-right = ["body=car"]

[[parts.checks]]
key = "thickness"
title = "Pad thickness"
station = "raised-corner"
method = "Measure."
tool = "gauge"
minutes = 1.0
sheets = ["wheels-off"]

[parts.checks.measurement]
unit = "mm"
new = 12.0
direction = "falls"
minor = 4.0
limits = [{ scheme = "eu", value = 3.0, source = "a rule" }, { scheme = "uk", value = 1.5, source = "another rule" }]
dangerous = 1.0
least = 0.0
most = 20.0
noise_sd = 0.4

[[parts.checks]]
key = "condition"
title = "Pad condition"
station = "walk-round"
method = "Look."
tool = "torch"
minutes = 2.0
cautions = ["brake-dust"]
observations = [
    { key = "fine", title = "As new", grade = "sound" },
    { key = "uneven", title = "Uneven", grade = "minor" },
    { key = "cracked", title = "Cracked", grade = "major" },
    { key = "gone", title = "Gone", grade = "dangerous" },
]

[[parts.jobs]]
key = "clean"
kind = "clean"
title = "Clean"
hours = 0.2
parts_eur = { low = 0, typical = 1, high = 2 }
renews = false

[[parts.jobs]]
key = "replace"
kind = "replace"
title = "Renew"
scope = "axle"
hours = 1.0
parts_eur = { low = 40, typical = 60, high = 90 }
access = ["wheel-off"]
follow_ups = ["brake-bleed"]

[[parts]]
key = "discs"
title = "Discs"
needs = ["brakes-front=disc"]
life = { km = 100000, years = 10, cv = 0.3, pf_km = 0, km_weight = 1.0 }

[parts.failure]
what = "Breaks."
cost_factor = 1.0

[[parts.checks]]
key = "surface"
title = "Surface"
station = "underneath-front"
method = "Look."
tool = "torch"
minutes = 1.0
sheets = ["wheels-off"]
observations = [{ key = "worn", title = "Worn", grade = "major" }]

[[parts.jobs]]
key = "replace"
kind = "replace"
title = "Renew"
hours = 2.0
parts_eur = { low = 80, typical = 100, high = 200 }
access = ["wheel-off.front", "undertray-off"]
"""


def sample_files(brakes: str = BRAKES) -> dict[str, bytes]:
    """The files of the small catalogue, ready for `build_catalogue`."""
    return {**VOCABULARY, "brakes.toml": brakes.encode()}


def broken(old: str, new: str) -> dict[str, bytes]:
    """The files with one text of the system file replaced; the text must be there."""
    assert BRAKES.count(old) >= 1, f"{old!r} is not in the sample"
    return sample_files(BRAKES.replace(old, new, 1))


def broken_word(file: str, old: str, new: str) -> dict[str, bytes]:
    """The files with one text of a vocabulary file replaced; the text must be there."""
    name = f"vocabulary/{file}"
    text = VOCABULARY[name].decode()
    assert old in text, f"{old!r} is not in {file}"
    return {**sample_files(), name: text.replace(old, new, 1).encode()}
