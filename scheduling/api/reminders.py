"""What was sent to whom and why, and how each person wants to be reminded."""

from __future__ import annotations

import uuid
from typing import TYPE_CHECKING, Any

from drf_spectacular.utils import extend_schema
from rest_framework.response import Response

from fleetcare.fleet.api.answers import page_of
from fleetcare.fleet.api.base import FleetView
from fleetcare.fleet.words import Role
from scheduling import selectors
from scheduling.api import sending_answers as answers
from scheduling.api import sending_inputs as inputs
from scheduling.services import choices
from scheduling.words import Stage

if TYPE_CHECKING:
    from scheduling.models import Delivery, Letter, ReminderChoice

Json = dict[str, Any]


def choice_json(choice: ReminderChoice, unwanted_vehicles: list[uuid.UUID]) -> Json:
    return {
        "rhythm": choice.rhythm,
        "safety_at_once": choice.safety_at_once,
        "unwanted_kinds": [kind for kind in choice.unwanted_kinds.split(",") if kind],
        "unwanted_vehicles": unwanted_vehicles,
        "weekday": choice.weekday,
        "month_day": choice.month_day,
        "hour": choice.hour,
        "quiet_from_hour": choice.quiet_from_hour,
        "quiet_to_hour": choice.quiet_to_hour,
        "first_lead_days": choice.first_lead_days,
        "second_lead_days": choice.second_lead_days,
        "language": choice.language,
        "time_zone": choice.time_zone,
        "address_refused": choices.bounced_for_good(choice),
    }


def letter_json(letter: Letter, *, with_address: bool) -> Json:
    reader = letter.reader
    person: Any = reader.membership.user if reader.membership else reader.contact
    return {
        "id": letter.pk,
        "kind": letter.kind,
        "reader": {
            "name": person.name,
            "email": person.email if with_address else None,
            "is_member": reader.membership_id is not None,
        },
        "state": letter.state,
        "subject": letter.subject,
        "made_at": letter.made_at,
        "not_before": letter.not_before,
        "ended_at": letter.ended_at,
        "refusals": letter.refusals,
        # A mail server may repeat the address in its words.
        "answer": letter.answer if with_address else letter.answer[:3],
        "told": [_told_json(row) for row in letter.deliveries.all()],
    }


def _told_json(row: Delivery) -> Json:
    item = row.item
    return {
        "vehicle": item.vehicle_id if item else row.event and row.event.vehicle_id,
        "due_item": row.item_id,
        "what": item.what if item else None,
        "due_on": item.due_on if item else None,
        "stage": Stage(row.stage).label,
    }


class Reminders(FleetView):
    tag = "reminder"

    @extend_schema(operation_id="list_reminders", responses=page_of(answers.ReminderOut))
    def get(self, request: Any, fleet_id: uuid.UUID) -> Response:
        with_address = self.access.role.includes(Role.PLANNER)
        rows = selectors.letters(self.access)
        return self.page(rows, lambda row: letter_json(row, with_address=with_address), ("-made_at", "-id"))


class _Choice(FleetView):
    """How one person wants to be reminded."""

    tag = "reminder"
    roles = {"PATCH": Role.VIEWER}

    def _read(self, person: choices.Person) -> Response:
        return self._answer(choices.choice_of(self.access, person))

    def _change(self, person: choices.Person) -> Response:
        choices.require_own_or_planner(self.access, person)
        self.require_match(choices.choice_of(self.access, person))
        values = self.parsed(inputs.ReminderChoiceIn, partial=True)
        return self._answer(choices.change_choice(self.access, person, **values))

    def _answer(self, choice: ReminderChoice) -> Response:
        unwanted = selectors.unwanted_vehicles(self.access, choice)
        return self.one(choice_json(choice, unwanted), choice.version)


class MemberReminders(_Choice):
    @extend_schema(operation_id="read_member_reminders", responses=answers.ReminderChoiceOut)
    def get(self, request: Any, fleet_id: uuid.UUID, member_id: uuid.UUID) -> Response:
        return self._read(choices.member_of(self.access, member_id))

    @extend_schema(
        operation_id="change_member_reminders", request=inputs.ReminderChoiceIn, responses=answers.ReminderChoiceOut
    )
    def patch(self, request: Any, fleet_id: uuid.UUID, member_id: uuid.UUID) -> Response:
        return self._change(choices.member_of(self.access, member_id))


class ContactReminders(_Choice):
    roles = {}

    @extend_schema(operation_id="read_contact_reminders", responses=answers.ReminderChoiceOut)
    def get(self, request: Any, fleet_id: uuid.UUID, contact_id: uuid.UUID) -> Response:
        return self._read(choices.contact_of(self.access, contact_id))

    @extend_schema(
        operation_id="change_contact_reminders", request=inputs.ReminderChoiceIn, responses=answers.ReminderChoiceOut
    )
    def patch(self, request: Any, fleet_id: uuid.UUID, contact_id: uuid.UUID) -> Response:
        return self._change(choices.contact_of(self.access, contact_id))
