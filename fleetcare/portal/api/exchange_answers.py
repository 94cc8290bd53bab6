"""What the API answers about exports, restores and imports, for the OpenAPI description."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from rest_framework import serializers

from fleetcare.fleet.api.answers import Answer, page_of
from fleetcare.portal.words import ExchangeKind, ExchangeState
from fleetcare.support.schema import FaultOut

if TYPE_CHECKING:
    from fleetcare.portal.models import ExchangeJob

Json = dict[str, Any]


class JobProblemOut(Answer):
    code = serializers.CharField()
    detail = serializers.CharField()
    errors = FaultOut(many=True)  # type: ignore[assignment]  # the member is named so


class JobOut(Answer):
    id = serializers.UUIDField()
    state = serializers.ChoiceField(ExchangeState.choices)
    progress_fraction = serializers.FloatField()
    problem = JobProblemOut(required=False, allow_null=True)
    created_at = serializers.DateTimeField()
    ended_at = serializers.DateTimeField(allow_null=True)
    files_until = serializers.DateTimeField(help_text="What was sent and what came out is kept until then.")


class ExportResultOut(Answer):
    rows = serializers.IntegerField()
    photos = serializers.IntegerField()
    missing_photos = serializers.ListField(child=serializers.UUIDField())
    size_bytes = serializers.IntegerField()


class ExportOut(JobOut):
    result = ExportResultOut(allow_null=True)
    file = serializers.CharField(allow_null=True, help_text="Where the ZIP is read once it is done, as a path.")


class RestoreResultOut(Answer):
    rows = serializers.IntegerField()
    tables = serializers.DictField(child=serializers.IntegerField())


class RestoreOut(JobOut):
    result = RestoreResultOut(allow_null=True)


class ImportFieldOut(Answer):
    name = serializers.CharField()
    required = serializers.BooleanField()  # type: ignore[assignment]  # an answer named so


class QuestionOut(Answer):
    name = serializers.CharField()
    choices = serializers.ListField(child=serializers.CharField())
    evidence = serializers.CharField(help_text="The cell that leaves it open.")


class FileTellsOut(Answer):
    name = serializers.CharField()
    value = serializers.CharField()
    how = serializers.CharField()
    evidence = serializers.CharField(allow_blank=True, help_text="The cell that told it.")


class RowFaultOut(Answer):
    row = serializers.IntegerField(help_text="As a spreadsheet counts; the names of the columns stand in row 1.")
    column = serializers.CharField(allow_blank=True)
    value = serializers.CharField(allow_blank=True)
    code = serializers.CharField()
    detail = serializers.CharField()


class ImportResultOut(Answer):
    what = serializers.CharField()
    read_as = serializers.CharField()
    columns = serializers.ListField(child=serializers.CharField(allow_blank=True))
    sample = serializers.ListField(child=serializers.ListField(child=serializers.CharField(allow_blank=True)))
    fields = ImportFieldOut(many=True)  # type: ignore[assignment]  # an answer named so
    mapping = serializers.DictField(child=serializers.CharField())
    missing = serializers.ListField(child=serializers.CharField(), help_text="Fields that no column says yet.")
    distance_unit = serializers.CharField()
    volume_unit = serializers.CharField()
    questions = QuestionOut(many=True)
    told = FileTellsOut(many=True)
    rows = serializers.IntegerField()
    new = serializers.IntegerField()
    repeated = serializers.IntegerField(help_text="Stored already.")
    bad_rows = serializers.IntegerField()
    faults = RowFaultOut(many=True)
    stored = serializers.BooleanField()


class ImportOut(JobOut):
    result = ImportResultOut(allow_null=True)


EXPORTS, RESTORES, IMPORTS = page_of(ExportOut), page_of(RestoreOut), page_of(ImportOut)


def job_json(job: ExchangeJob) -> Json:
    """A job as it stands; `result` and `problem` are null until there is one."""
    body: Json = {
        "id": job.pk,
        "state": job.state,
        "progress_fraction": job.progress_fraction,
        "result": job.result or None,
        "problem": job.problem or None,
        "created_at": job.created_at,
        "ended_at": job.ended_at,
        "files_until": job.files_until,
    }
    if job.kind == ExchangeKind.EXPORT:
        address = f"/api/v1/fleets/{job.fleet_id}/exports/{job.pk}/file/"
        body["file"] = address if job.product else None
    return body
