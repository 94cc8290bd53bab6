"""The audit trail: which tables it covers and which not, and the things of security that no table shows."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from django.apps import apps
from django.db import connections, models, transaction
from django.utils import timezone

from fleetcare.fleet.models import AuditEntry, Fleet, Membership, User
from fleetcare.support.doing import current
from fleetcare.support.record_triggers import Recorded, install, remove
from fleetcare.support.tenancy import TenantModel

NOT_RECORDED: Mapping[str, str] = {
    "fleet.AuditEntry": "the record itself",
    "fleet.Event": "computed from writes that are recorded",
    "fleet.JobExperience": "computed from jobs, which are recorded",
    "fleet.Standing": "computed from writes that are recorded",
    "inspections.Assessment": "computed from writes that are recorded",
    "inspections.FindingChange": "a record of its own, with who and why",
    "inspections.LearnedFactor": "computed from the fleet's record",
    "inspections.LearnedLife": "computed from the fleet's record",
    "inspections.LearningRound": "says when lives were learned",
    "inspections.ResultEntry": "a record of its own, with who and from which device",
    "inspections.ScorePoint": "computed from writes that are recorded",
    "scheduling.BacklogChanges": "computed from writes that are recorded",
    "scheduling.Delivery": "says itself what was sent to whom",
    "scheduling.Letter": "says itself what was sent to whom",
    "scheduling.StoredBacklog": "computed from writes that are recorded",
    "scheduling.WebhookDelivery": "says itself what was sent where",
}
"""Tables of fleets whose writes are not recorded, and why not."""

UNTOLD = frozenset(
    {
        *("id", "fleet_id", "version", "created_at", "changed_at", "last_used_at", "last_read_at", "model_key"),
        *("digest", "token_digest", "secret_round", "content_digest", "fingerprint", "sha256", "upload_sha256"),
        *("picture", "thumbnail", "upload", "product", "claim", "claimed_until", "attempts", "progress_fraction"),
        *("result", "problem", "document", "basis", "asked", "changes", "causes", "undo"),
        *("last_slot_on", "swept_on", "swept_at", "bounces"),
    }
)
"""Columns that say nothing of what somebody did, are secrets, or are the software's own."""

MASKED: Mapping[str, frozenset[str]] = {
    "fleet.Contact": frozenset({"name", "email", "phone"}),
    "fleet.Invitation": frozenset({"email"}),
    "scheduling.Estimate": frozenset({"customer", "mailed_to"}),
    "scheduling.EstimateLine": frozenset({"answered_by"}),
    "inspections.Inspection": frozenset({"inspector"}),
    "scheduling.Job": frozenset({"assigned_to", "decided_by"}),
    "scheduling.KnowHow": frozenset({"author"}),
}
"""Columns of people: that they changed is told, what stood there goes with the row itself."""

_ONLY: Mapping[str, frozenset[str]] = {"scheduling.DueItem": frozenset({"snoozed_until"})}
"""Where the software writes the rest."""
_EVENTS: Mapping[str, tuple[str, ...]] = {
    "scheduling.DueItem": ("UPDATE",),
    # An inspection says who made it; its results are recorded when somebody changes them.
    "inspections.Result": ("UPDATE", "DELETE"),
    "fleet.Fleet": ("INSERT", "UPDATE"),
}
ACCOUNT = "account"


def recorded_tables() -> list[Recorded]:
    """Every table of fleets but those left out with a reason, and the fleets themselves."""
    tenants = [model for model in apps.get_models() if issubclass(model, TenantModel)]
    covered = [model for model in tenants if label_of(model) not in NOT_RECORDED]
    return [_recorded(Fleet, "id"), *(_recorded(model, "fleet_id") for model in covered)]


def label_of(model: type[models.Model]) -> str:
    """The name of a table in the trail."""
    return model._meta.label  # noqa: SLF001 - Django's own name for its public part


def _recorded(model: type[models.Model], fleet: str) -> Recorded:
    label, meta = label_of(model), model._meta  # noqa: SLF001
    stored = [str(field.column) for field in meta.local_concrete_fields if field.column not in UNTOLD]
    told = tuple(name for name in stored if name in _ONLY.get(label, set(stored)))
    events = _EVENTS.get(label, ("INSERT", "UPDATE", "DELETE"))
    return Recorded(label, meta.db_table, told, MASKED.get(label, frozenset()), events, fleet)


def begin_recording(using: str, **_: Any) -> None:
    """After the tables were brought up to date: the triggers too."""
    connection = connections[using]
    entries = AuditEntry._meta.db_table  # noqa: SLF001
    if _is_there(connection, entries):
        tables = [each for each in recorded_tables() if _is_there(connection, each.table)]
        install(connection, entries, tables)


def _is_there(connection: Any, table: str) -> bool:
    return table in connection.introspection.table_names()


def pause_recording(using: str, **_: Any) -> None:
    """Before tables are changed: SQLite changes none that a trigger names."""
    if connections[using].vendor == "sqlite":
        remove(connections[using])


@transaction.atomic
def note_of_account(user: User, action: str, after: Mapping[str, Any] | None = None) -> None:
    """Something about a person's login, told to the owners of each fleet that they belong to."""
    doing, now = current(), timezone.now()
    fleets = list(Membership.objects.filter(user=user).values_list("fleet_id", flat=True))
    AuditEntry.objects.bulk_create(
        AuditEntry(
            fleet_id=fleet_id,
            at=now,
            actor=doing.actor,
            address=doing.address,
            request_id=doing.request_id,
            action=action,
            what=ACCOUNT,
            subject_id=user.pk,
            after=dict(after) if after else None,
        )
        for fleet_id in fleets
    )
