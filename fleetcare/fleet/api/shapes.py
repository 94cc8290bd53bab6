"""How rows look as JSON; plain functions, since they are read far more often than anything else is done."""

from __future__ import annotations

import uuid
from collections.abc import Sequence
from decimal import Decimal
from typing import TYPE_CHECKING, Any

import orjson

from fleetcare.kernel import vin as vins
from fleetcare.kernel.grades import GRADE_WORDS
from fleetcare.kernel.money import Money

if TYPE_CHECKING:
    from fleetcare.fleet.models import (
        ApiKey,
        Contact,
        Fleet,
        FuelFill,
        Invitation,
        Membership,
        OdometerReading,
    )

Json = dict[str, Any]


def number(value: Decimal | float | None) -> int | float | None:
    """A stored decimal as a JSON number, whole where it is whole."""
    if value is None:
        return None
    whole = int(value)
    return whole if whole == value else float(value)


def money(minor: int, fleet: Fleet) -> dict[str, str]:
    """A stored amount in the API's form."""
    return Money(minor, fleet.currency).as_json()


def fleet_json(fleet: Fleet) -> Json:
    return {
        "id": fleet.pk,
        "name": fleet.name,
        "kind": fleet.kind,
        "currency": fleet.currency,
        "distance_unit": fleet.distance_unit,
        "time_zone": fleet.time_zone,
        "limit_scheme": fleet.limit_scheme,
        "labour_per_hour": money(fleet.labour_per_hour_minor, fleet),
        "price_factor": number(fleet.price_factor),
        "created_at": fleet.created_at,
    }


def member_json(membership: Membership) -> Json:
    user = membership.user
    return {
        "id": membership.pk,
        "email": user.email,
        "name": user.name,
        "role": membership.role,
        "created_at": membership.created_at,
    }


def invitation_json(invitation: Invitation) -> Json:
    """An invitation; its secret is in the mail only."""
    return {
        "id": invitation.pk,
        "email": invitation.email,
        "role": invitation.role,
        "created_at": invitation.created_at,
        "expires_at": invitation.expires_at,
        "accepted_at": invitation.accepted_at,
        "revoked_at": invitation.revoked_at,
    }


def key_json(key: ApiKey) -> Json:
    return {
        "id": key.pk,
        "name": key.name,
        "role": key.role,
        "prefix": key.prefix,
        "created_at": key.created_at,
        "expires_at": key.expires_at,
        "last_used_at": key.last_used_at,
        "revoked_at": key.revoked_at,
    }


def contact_json(contact: Contact) -> Json:
    return {
        "id": contact.pk,
        "name": contact.name,
        "email": contact.email,
        "phone": contact.phone,
        "language": contact.language,
        "vehicles": [link.vehicle_id for link in contact.links.all()],
    }


def reading_json(reading: OdometerReading) -> Json:
    return {
        "id": reading.pk,
        "read_on": reading.read_on,
        "odometer_km": number(reading.shown_km),
        "total_km": number(reading.total_km),
        "source": reading.source,
        "replacement": reading.replacement,
    }


def fill_json(fleet: Fleet, fill: FuelFill) -> Json:
    return {
        "id": fill.pk,
        "filled_on": fill.filled_on,
        "odometer_km": number(fill.reading.shown_km) if fill.reading else None,
        "total_km": number(fill.reading.total_km) if fill.reading else None,
        "litres": number(fill.litres),
        "full": fill.full,
        "missed_before": fill.missed_before,
        "price": None if fill.price_minor is None else money(fill.price_minor, fleet),
        "note": fill.note,
    }


def vehicle_json(fleet: Fleet, columns: Sequence[Any]) -> Json:
    """A vehicle with where it stands, from `selectors.VEHICLE_COLUMNS` as the driver or Django gives them."""
    (
        key, name, plate, vin, make, model, model_year, first_used_on, traits, note, archived, odometer_km, odometer_on,
        score, coverage_fraction, worst_grade, do_not_drive, open_findings, backlog_cost_minor, next_due_on,
        next_due_what, inspected_on, revision, assessed_revision, _,
    ) = columns  # fmt: skip
    return {
        "id": key if isinstance(key, uuid.UUID) else uuid.UUID(key),
        "name": name,
        "plate": plate,
        "vin": vin,
        "make": make,
        "model": model,
        "model_year": model_year,
        "first_used_on": first_used_on,
        # Stored JSON goes out as it is, without being read and written again.
        "traits": orjson.Fragment(traits) if isinstance(traits, str) else traits,
        "note": note,
        "archived": archived,
        "odometer_km": number(odometer_km),
        "odometer_on": odometer_on,
        "score": None if score is None else round(score, 1),
        "coverage_fraction": round(coverage_fraction, 3),
        "worst_grade": GRADE_WORDS[worst_grade],
        "do_not_drive": do_not_drive,
        "open_findings": open_findings,
        "backlog_cost": money(backlog_cost_minor, fleet),
        "next_due": {"due_on": next_due_on, "what": next_due_what} if next_due_on else None,
        "inspected_on": inspected_on,
        "being_assessed": revision != assessed_revision,
        "warnings": list(vins.warnings(vin)) if vin else [],
    }
