"""Which parts are probably behind what a driver notices, computed for the question; reading never writes."""

import dataclasses
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from fleetcare.fleet.access import Access
from fleetcare.fleet.clock import today
from fleetcare.fleet.models import Vehicle
from fleetcare.kernel.errors import Fault, raise_if_any
from fleetcare.kernel.grades import Grade
from inspections.catalogue.catalogue import Slot
from inspections.catalogue.signs import FINDING, Signs, default_signs
from inspections.core.looking import seen_chances
from inspections.core.suspects import NO_CHECK, PartChecks, SignTable, Suspicion, suspect_parts
from inspections.core.trouble_codes import MalformedTroubleCode, Origin, TroubleCode, parse_code
from inspections.core.types import NEVER_LOOKED, BoolArray, FloatArray
from inspections.models import Finding
from inspections.selectors import open_findings
from inspections.services.assessment import Verdicts, judge
from inspections.services.condition_documents import DISCLAIMER
from inspections.services.fuel import fuel_use
from inspections.services.history import Batch, load_batch
from inspections.services.left import residuals_at

Json = dict[str, Any]
FUEL_RISE = "fuel-rise"
"""The complaint that the fuel book makes by itself."""
MOST_SUSPECTS = 30
LEAST_LISTED_FRACTION = 0.005

SEEN_BAD_FRACTION = 0.9
"""What was last seen major or dangerous is at least so surely bad, until a job or a fresh look says otherwise."""
LEAST_PRIOR_FRACTION, MOST_PRIOR_FRACTION = 1e-4, 0.999
"""No part is above suspicion, and none is condemned unseen."""


@dataclass(frozen=True, slots=True)
class Sign:
    """Something that was noticed, in the words of the catalogue's signs."""

    key: str
    kind: str
    title: str
    asked: bool
    """Told in the question, not found in the records."""


@dataclass(frozen=True, slots=True)
class Question:
    """What was noticed and what was looked for in vain."""

    present: tuple[Sign, ...]
    absent: tuple[str, ...]
    codes: tuple[TroubleCode, ...]


def suspects(
    access: Access,
    vehicle: Vehicle,
    *,
    complaints: Sequence[str] = (),
    trouble_codes: Sequence[str] = (),
    absent: Sequence[str] = (),
) -> Json:
    """Suspect parts of a vehicle, most probable first.

    Open findings and a standing rise in fuel use count by themselves; `absent` are complaints or codes looked for and
    not there. Raises InvalidInput naming every unknown complaint, malformed code and contradiction.
    """
    asked = _asked(complaints, trouble_codes, absent)
    findings = list(open_findings(access, vehicle))
    risen = bool(fuel_use(access.fleet, [vehicle]).trend.rise_standing[0])
    batch = load_batch(access.fleet, [vehicle.pk], today(access.fleet))
    question = dataclasses.replace(asked, present=(*asked.present, *_recorded(batch, asked, findings, risen=risen)))
    verdicts = judge(batch)
    slots = [batch.catalogue.slots[row] for row in batch.cells.slot]
    table = _narrowed(default_signs(), default_signs().table(slots), slots, findings)
    checks, keys = _checks(batch)
    present, missing = _rows(question.present), _rows(question.absent)
    found = suspect_parts(bad_now_fraction(verdicts), table, present, missing & ~present, checks)
    return _document(verdicts, question, table, found, keys)


def _asked(complaints: Sequence[str], trouble_codes: Sequence[str], absent: Sequence[str]) -> Question:
    signs, faults = default_signs(), list[Fault]()
    present: dict[str, Sign] = {}
    codes: dict[str, TroubleCode] = {}
    for index, key in enumerate(complaints):
        if key in signs.complaints:
            present[key] = Sign(key, "complaint", signs.complaints[key], asked=True)
        else:
            faults.append(Fault(f"/complaints/{index}", "unknown-complaint", f"No complaint is called “{key}”."))
    for index, text in enumerate(trouble_codes):
        try:
            code = parse_code(text)
        except MalformedTroubleCode as error:
            faults.append(Fault(f"/trouble_codes/{index}", error.code, str(error)))
            continue
        codes[code.text] = code
        present[code.text] = Sign(code.text, "code", f"{code}: {code_meaning(code)}", asked=True)
    silent = [key if key in signs.complaints else key.strip().upper() for key in absent]
    faults += _absent_faults(signs, silent, present)
    raise_if_any(faults)
    return Question(tuple(present.values()), tuple(silent), tuple(codes.values()))


def _absent_faults(signs: Signs, absent: Sequence[str], present: Iterable[str]) -> Iterable[Fault]:
    there = set(present)
    for index, key in enumerate(absent):
        if key in there:
            yield Fault(f"/absent/{index}", "contradiction", f"“{key}” is both there and not there.")
        elif key not in signs.complaints and key not in signs.meanings:
            yield Fault(f"/absent/{index}", "unknown-sign", f"“{key}” is no complaint and no code that is known here.")


def _recorded(batch: Batch, asked: Question, findings: Iterable[Finding], *, risen: bool) -> Iterable[Sign]:
    """What the records add: a rise in fuel use unless the question knows better, and findings that tell of parts."""
    signs = default_signs()
    if risen and FUEL_RISE not in asked.absent and all(sign.key != FUEL_RISE for sign in asked.present):
        yield Sign(FUEL_RISE, "fuel", signs.complaints[FUEL_RISE], asked=False)
    for part_key in dict.fromkeys(finding.part_key for finding in findings):
        if FINDING + part_key in signs.rows:
            title = f"Open finding: {batch.catalogue.parts[part_key].title}"
            yield Sign(FINDING + part_key, "finding", title, asked=False)


def _rows(signs: Iterable[Sign | str]) -> BoolArray:
    rows = default_signs().rows
    keys = (sign if isinstance(sign, str) else sign.key for sign in signs)
    marked = np.zeros(len(rows), dtype=np.bool_)
    marked[[rows[key] for key in keys if key in rows]] = True
    return marked


def _narrowed(signs: Signs, table: SignTable, slots: Sequence[Slot], findings: Iterable[Finding]) -> SignTable:
    """A finding at one place speaks of a part at that place, where the part has such a place."""
    shows = table.shows_fraction.copy()
    places: dict[str, set[str]] = {}
    for finding in findings:
        places.setdefault(finding.part_key, set()).add(finding.position)
    for part_key, found_at in places.items():
        row = signs.rows.get(FINDING + part_key)
        if row is None or "" in found_at:
            continue
        here = {slot.part_key for slot in slots if slot.position in found_at}
        elsewhere = [slot.part_key in here and slot.position not in found_at for slot in slots]
        shows[row, elsewhere] = 0.0
    return dataclasses.replace(table, shows_fraction=shows)


def bad_now_fraction(verdicts: Verdicts) -> FloatArray:
    """Chance that each cell's part is bad before the signs, shape (K,).

    Bad is major or worse. The judge's lives are those still running, so that a part without any warning would never
    be bad: a month's share of what turns major (or fails) within the year counts as having done so just now.
    """
    batch = verdicts.batch
    left = residuals_at(batch, np.arange(len(batch.cells.slot)))
    year_km = 12.0 * batch.cells.clock_km_per_month[:, None]
    now = (left.weight * (left.to_major_km <= 0.0)).sum(axis=1)
    within_year = (left.weight * (left.to_major_km <= year_km)).sum(axis=1)
    bad = now + (within_year - now) / 12.0
    bad = np.where(batch.last_grade >= Grade.MAJOR, np.maximum(bad, SEEN_BAD_FRACTION), bad)
    return np.asarray(np.clip(bad, LEAST_PRIOR_FRACTION, MOST_PRIOR_FRACTION))


def _checks(batch: Batch) -> tuple[PartChecks, list[str]]:
    """Every check of the vehicle with what it takes, getting there included, and the keys in that order."""
    catalogue = batch.catalogue
    applicable = catalogue.applicable_checks(batch.vehicles[0].traits)
    checks = [catalogue.checks[each.key].check for each in applicable]
    minutes = [check.minutes + catalogue.stations[check.station].setup_minutes for check in checks]
    chances = seen_chances()
    # By how far looks can be trusted: a defect is seen as one of some grade, a sound part as sound.
    finds, falsely = 1.0 - chances[Grade.MAJOR, Grade.SOUND], 1.0 - chances[Grade.SOUND, Grade.SOUND]
    return PartChecks(
        part=np.searchsorted(batch.cells.slot, np.array([each.slot for each in applicable], dtype=np.int64)),
        minutes=np.array(minutes, dtype=np.float64),
        finds_fraction=np.full(len(checks), finds),
        false_fraction=np.full(len(checks), falsely),
    ), [each.key for each in applicable]


def _document(verdicts: Verdicts, question: Question, table: SignTable, found: Suspicion, checks: list[str]) -> Json:
    batch = verdicts.batch
    listed = np.flatnonzero(found.chance_fraction >= LEAST_LISTED_FRACTION)[:MOST_SUSPECTS].tolist()
    unused = set(found.signs_unused.tolist())
    condition = verdicts.documents[0]
    where = {int(check): int(part) for check, part in zip(found.check, found.part, strict=True)}
    overall = found.next_check
    return {
        "suspects": [
            {"rank": rank, **_suspect(batch, question, table, found, row, checks)} for rank, row in enumerate(listed, 1)
        ],
        "left_out": len(found.part) - len(listed),
        "none_of_these_fraction": round(found.none_fraction, 4),
        "next_check": None if overall == NO_CHECK else _check(batch, checks[overall], where[overall]),
        "signs": [_sign(sign) for sign in question.present],
        "signs_unused": [_sign(sign) for sign in question.present if _is_unused(sign, unused)],
        "codes": [code_json(code) for code in question.codes],
        "do_not_drive": condition["do_not_drive"],
        "dangers": condition["dangers"],
        "as_of": batch.on.isoformat(),
        "disclaimer": DISCLAIMER,
    }


def _is_unused(sign: Sign, unused: set[int]) -> bool:
    """No part of this vehicle explains it, it is a code the table does not know, or rarer signs were enough."""
    row = default_signs().rows.get(sign.key)
    return row is None or row in unused


def _sign(sign: Sign) -> Json:
    return {"sign": sign.key, "kind": sign.kind, "title": sign.title, "asked": sign.asked}


def _suspect(batch: Batch, question: Question, table: SignTable, found: Suspicion, row: int, checks: list[str]) -> Json:
    cell, check = int(found.part[row]), int(found.check[row])
    slot = batch.catalogue.slots[int(batch.cells.slot[cell])]
    part = batch.catalogue.parts[slot.part_key]
    grade = int(batch.last_grade[cell])
    return {
        "part": part.key,
        "title": part.title,
        "position": slot.position or None,
        "system": batch.catalogue.system_of_part[part.key],
        "safety": part.safety,
        "probability_fraction": round(float(found.chance_fraction[row]), 4),
        "before_signs_fraction": round(float(found.prior_fraction[row]), 4),
        "last_seen": None if grade == NEVER_LOOKED else Grade(grade).word,
        "reasons": _reasons(question, table, cell),
        "next_check": None if check == NO_CHECK else _check(batch, checks[check], cell),
    }


def _reasons(question: Question, table: SignTable, cell: int) -> list[Json]:
    """The signs that speak for a part, that which tells most first."""
    rows = default_signs().rows
    told = []
    for sign in question.present:
        shows = float(table.shows_fraction[rows[sign.key], cell]) if sign.key in rows else 0.0
        if shows > 0.0:
            background = float(table.background_fraction[rows[sign.key]])
            told.append({**_sign(sign), "shows_fraction": shows, "background_fraction": background})
    return sorted(told, key=lambda reason: -reason["shows_fraction"] / reason["background_fraction"])


def _check(batch: Batch, key: str, cell: int) -> Json:
    catalogue = batch.catalogue
    entry, slot = catalogue.checks[key], catalogue.slots[int(batch.cells.slot[cell])]
    station = catalogue.stations[entry.check.station]
    cautions = dict.fromkeys((*station.cautions, *entry.check.cautions))
    return {
        "check": key,
        "title": f"{entry.part.title}: {entry.check.title}",
        "position": slot.position or None,
        "station": station.key,
        "minutes": entry.check.minutes,
        "setup_minutes": station.setup_minutes,
        "cautions": [catalogue.cautions[caution].text for caution in cautions],
    }


_BY_ORIGIN = {
    Origin.GENERIC: "a generic {system} code{group}; its meaning is not in this list",
    Origin.MANUFACTURER: "a maker's own {system} code{group}; the maker's papers say what it means",
    Origin.RESERVED: "a {system} code of a reserved range; check that it was copied right",
    Origin.MIXED: "a {system} code, generic or a maker's own; the maker's papers say",
}


def code_meaning(code: TroubleCode) -> str:
    """What a code means, or what its structure says of it."""
    group = f" ({code.subsystem})" if code.subsystem else ""
    return default_signs().meaning(code) or _BY_ORIGIN[code.origin].format(system=code.system, group=group)


def code_json(code: TroubleCode) -> Json:
    return {
        "code": code.text,
        "meaning": code_meaning(code),
        "known": default_signs().meaning(code) is not None,
        "system": code.system,
        "subsystem": code.subsystem,
        "origin": code.origin.value,
    }
