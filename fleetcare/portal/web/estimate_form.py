"""Forms of an estimate as bodies of the API, and what was typed with its faults at their fields."""

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

from fleetcare.kernel.errors import Fault
from fleetcare.portal.web.presenters import words
from fleetcare.portal.web.presenters.offers import JOB
from fleetcare.portal.web.typed import number, ungrouped

if TYPE_CHECKING:
    from scheduling.models import Estimate, EstimateLine, EstimateOption

Json = dict[str, Any]
_OTHER = " + "
_LINE = re.compile(r"^/lines/(\d+)(?:/options/(\d+))?(?:/([a-z_]+))?")
NEW = "new"
"""Stands for the id of the line or option that is being added."""


def head_of(form: Mapping[str, str]) -> Json:
    """Whom it is for, what is said to all of it, and the tax."""
    body: Json = {name: form.get(name, "").strip() for name in ("customer", "note")}
    body["contact"] = form.get("contact") or None
    tax = form.get("tax_percent", "").strip()
    return {**body, "tax_percent": number(tax) if tax else None}


def option_of(value: str) -> Json:
    """The job that an offer's value names."""
    key, *places = value.split(" ")
    return {"job_id": places[0] if places else ""} if key == JOB else {"job": key, "positions": places}


def chosen_body(form: Any, reasons: Mapping[str, str]) -> Json:
    """A new estimate from the ticked offers; each is explained by what is known of it."""
    others = [each.split(_OTHER, 1) for each in form.getlist("also") if _OTHER in each]
    lines = [
        {
            "explanation": reasons.get(value, ""),
            "options": [option_of(value), *(option_of(other) for mine, other in others if mine == value)],
        }
        for value in form.getlist("line")
    ]
    return {**head_of(form), "lines": lines}


@dataclass
class DraftBody:
    """The body of a changed draft, and which field of the form each place of it came from."""

    body: Json
    lines: list[str] = field(default_factory=list)
    options: list[list[str]] = field(default_factory=list)

    def faults_at(self, faults: Iterable[Fault]) -> dict[str, str]:
        """Faults by the field they belong to; those of none by ""."""
        told: dict[str, str] = {}
        for fault in faults:
            told.setdefault(self._field(fault.pointer), words.told(fault.detail))
        return told

    def _field(self, pointer: str) -> str:
        found = _LINE.match(pointer)
        if found is None:
            name = pointer.strip("/").partition("/")[0]
            return name if name in {"customer", "contact", "note", "tax_percent"} else ""
        line, option, name = int(found[1]), found[2], found[3] or ""
        if line >= len(self.lines):
            return ""
        if option is None:
            return f"{name}-{self.lines[line]}" if name in {"title", "explanation"} else f"title-{self.lines[line]}"
        key = self.options[line][int(option)]
        return f"{name}-{key}" if name in {"hours", "parts", "labour"} else f"way-{key}"


def draft_body(form: Any, estimate: "Estimate", currency: str) -> DraftBody:
    """What the form of a draft says: lines kept as they are typed, one added by hand, one from the list."""
    made = DraftBody({**head_of(form), "lines": []})
    for line in estimate.lines.all():
        if form.get(f"remove-{line.pk}") != "on":
            _add(made, str(line.pk), _kept(form, line, currency), _line_words(form, str(line.pk)))
    if form.get(f"way-{NEW}", "").strip():
        _add(made, NEW, [(NEW, _option(form, NEW, currency))], _line_words(form, NEW))
    if form.get("add"):
        _add(made, "add", [("add", option_of(form["add"]))], {})
    return made


def _add(made: DraftBody, key: str, options: list[tuple[str, Json]], said: Json) -> None:
    if options:
        made.body["lines"].append({**said, "options": [option for _key, option in options]})
        made.lines.append(key)
        made.options.append([option_key for option_key, _option in options])


def _line_words(form: Any, key: str) -> Json:
    said: Json = {
        "explanation": form.get(f"explanation-{key}", "").strip(),
        "safety": form.get(f"safety-{key}") == "on",
    }
    title = form.get(f"title-{key}", "").strip()
    return {**said, "title": title} if title else said


def _kept(form: Any, line: "EstimateLine", currency: str) -> list[tuple[str, Json]]:
    """The ways of a line that stay, and the one that is added."""
    kept = [
        (str(option.pk), {**_work(option), **_option(form, str(option.pk), currency)})
        for option in line.options.all()
        if form.get(f"out-{option.pk}") != "on"
    ]
    added = f"{NEW}-{line.pk}"
    if form.get(f"way-{added}", "").strip():
        kept.append((added, _option(form, added, currency)))
    return kept


def _work(option: "EstimateOption") -> Json:
    """The job behind a way, which the form does not change."""
    if option.job_id is not None:
        return {"job_id": str(option.job_id)}
    return {"job": option.job_key, "positions": option.positions} if option.job_key else {}


def _option(form: Any, key: str, currency: str) -> Json:
    said: Json = {}
    title, hours = form.get(f"way-{key}", "").strip(), form.get(f"hours-{key}", "").strip()
    if title:
        said["title"] = title
    if hours:
        said["hours"] = number(hours)
    for name in ("parts", "labour"):
        if form.get(f"{name}-{key}", "").strip():
            said[name] = {"amount": ungrouped(form[f"{name}-{key}"]), "currency": currency}
    return said
