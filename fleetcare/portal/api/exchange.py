"""The whole record out and in, and tables from elsewhere: long work, asked for and looked after."""

from __future__ import annotations

import uuid
from collections.abc import Iterator
from typing import TYPE_CHECKING, Any

from django.http import FileResponse, HttpResponse
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.parsers import MultiPartParser
from rest_framework.response import Response

from fleetcare.fleet.api.base import FleetView, Json
from fleetcare.fleet.api.inputs import VOLUME_UNITS
from fleetcare.fleet.selectors import vehicle_of
from fleetcare.fleet.words import DistanceUnit, Role
from fleetcare.kernel.errors import InvalidInput, NotFound
from fleetcare.portal.api import exchange_answers as answers
from fleetcare.portal.exchange import jobs
from fleetcare.portal.exchange.archive import MOST_BYTES as MOST_ARCHIVE_BYTES
from fleetcare.portal.exchange.importing import bad_rows
from fleetcare.portal.exchange.kinds import kinds
from fleetcare.portal.exchange.tables import MOST_BYTES as MOST_TABLE_BYTES
from fleetcare.portal.exchange.values import DAY_ORDERS, DECIMALS
from fleetcare.portal.exchange.writing import csv_text
from fleetcare.portal.words import ExchangeKind
from fleetcare.support import stored_files
from fleetcare.support.negotiation import FilesAsTheyAre
from fleetcare.support.strict import StrictSerializer

if TYPE_CHECKING:
    from fleetcare.portal.models import ExchangeJob

TABLES = list(kinds())
_ORDER = ("-created_at", "-id")


class ArchiveIn(StrictSerializer):
    file = serializers.FileField(help_text="The ZIP of an export.")


class TableIn(StrictSerializer):
    file = serializers.FileField(help_text="CSV or XLSX, up to 20 MB and 50,000 rows.")
    what = serializers.ChoiceField(TABLES)
    vehicle = serializers.UUIDField(required=False, help_text="Where no column names one.")


class ReadingIn(StrictSerializer):
    """How the file is to be read; what is left out stays as it is."""

    mapping = serializers.DictField(child=serializers.CharField(max_length=200), required=False)
    decimal = serializers.ChoiceField(DECIMALS, required=False, allow_null=True)
    day_order = serializers.ChoiceField(DAY_ORDERS, required=False, allow_null=True)
    distance_unit = serializers.ChoiceField(DistanceUnit.choices, required=False)
    volume_unit = serializers.ChoiceField(VOLUME_UNITS, required=False)


class StoreIn(StrictSerializer):
    skip_bad_rows = serializers.BooleanField(default=False)


def sent_pieces(upload: Any, most: int) -> Iterator[bytes]:
    """The bytes of an upload, piece by piece; raises InvalidInput for too many, before the first is read."""
    if (upload.size or 0) > most:
        raise InvalidInput.at("/file", "too-large", f"At most {most // 1024**2} MB are taken.")
    pieces: Iterator[bytes] = upload.chunks()
    return pieces


def accepted(view: FleetView, job: ExchangeJob, address: str, status: int = 202) -> Response:
    """A job that was asked for, as it stands now, and where to look after it."""
    fresh = jobs.jobs_of(view.access, job.kind).one(pk=job.pk)
    headers = {"Location": address} if status == 202 else {}
    return Response(answers.job_json(fresh), status=status, headers=headers)


class Exports(FleetView):
    roles = {"GET": Role.OWNER, "POST": Role.OWNER}
    costly = frozenset({"POST"})

    @extend_schema(operation_id="list_exports", responses=answers.EXPORTS)
    def get(self, request: Any, fleet_id: uuid.UUID) -> Response:
        return self.page(jobs.jobs_of(self.access, ExchangeKind.EXPORT), answers.job_json, _ORDER)

    @extend_schema(operation_id="export_fleet", request=None, responses={202: answers.ExportOut})
    def post(self, request: Any, fleet_id: uuid.UUID) -> Response:
        job = jobs.ask_for_export(self.access)
        return accepted(self, job, f"{request.path}{job.pk}/")


class OneExport(FleetView):
    roles = {"GET": Role.OWNER}

    @extend_schema(operation_id="read_export", responses=answers.ExportOut)
    def get(self, request: Any, fleet_id: uuid.UUID, export_id: uuid.UUID) -> Response:
        return Response(answers.job_json(jobs.jobs_of(self.access, ExchangeKind.EXPORT).one(pk=export_id)))


class ExportFile(FleetView):
    roles = {"GET": Role.OWNER}
    content_negotiation_class = FilesAsTheyAre

    @extend_schema(operation_id="read_export_file", responses={(200, "application/zip"): OpenApiTypes.BINARY})
    def get(self, request: Any, fleet_id: uuid.UUID, export_id: uuid.UUID) -> FileResponse:
        job = jobs.jobs_of(self.access, ExchangeKind.EXPORT).one(pk=export_id)
        if not job.product:
            raise NotFound
        path = stored_files.path_of(job.product)
        name = f"fleet-{job.created_at.date().isoformat()}.zip"
        return FileResponse(path.open("rb"), as_attachment=True, filename=name, content_type="application/zip")


class Restores(FleetView):
    roles = {"GET": Role.OWNER, "POST": Role.OWNER}
    parser_classes = (MultiPartParser,)
    costly = frozenset({"POST"})

    @extend_schema(operation_id="list_restores", responses=answers.RESTORES)
    def get(self, request: Any, fleet_id: uuid.UUID) -> Response:
        return self.page(jobs.jobs_of(self.access, ExchangeKind.RESTORE), answers.job_json, _ORDER)

    @extend_schema(
        operation_id="restore_fleet", request={"multipart/form-data": ArchiveIn}, responses={202: answers.RestoreOut}
    )
    def post(self, request: Any, fleet_id: uuid.UUID) -> Response:
        data = sent_pieces(self.parsed(ArchiveIn)["file"], MOST_ARCHIVE_BYTES)
        job = jobs.ask_for_restore(self.access, data)
        return accepted(self, job, f"{request.path}{job.pk}/")


class OneRestore(FleetView):
    roles = {"GET": Role.OWNER}

    @extend_schema(operation_id="read_restore", responses=answers.RestoreOut)
    def get(self, request: Any, fleet_id: uuid.UUID, restore_id: uuid.UUID) -> Response:
        return Response(answers.job_json(jobs.jobs_of(self.access, ExchangeKind.RESTORE).one(pk=restore_id)))


class Imports(FleetView):
    roles = {"GET": Role.PLANNER}
    parser_classes = (MultiPartParser,)
    costly = frozenset({"POST"})

    @extend_schema(operation_id="list_imports", responses=answers.IMPORTS)
    def get(self, request: Any, fleet_id: uuid.UUID) -> Response:
        return self.page(jobs.jobs_of(self.access, ExchangeKind.IMPORT), answers.job_json, _ORDER)

    @extend_schema(
        operation_id="check_import", request={"multipart/form-data": TableIn}, responses={202: answers.ImportOut}
    )
    def post(self, request: Any, fleet_id: uuid.UUID) -> Response:
        values = self.parsed(TableIn)
        vehicle = vehicle_of_body(self, values)
        data = sent_pieces(values["file"], MOST_TABLE_BYTES)
        job = jobs.ask_for_import(self.access, data, what=values["what"], vehicle=vehicle)
        return accepted(self, job, f"{request.path}{job.pk}/")


def vehicle_of_body(view: FleetView, values: Json) -> uuid.UUID | None:
    """The id of the vehicle that a body names, if it names one; raises InvalidInput for one that is not the fleet's."""
    if "vehicle" not in values:
        return None
    try:
        key: uuid.UUID = vehicle_of(view.access, values["vehicle"]).pk
    except NotFound as error:
        raise InvalidInput.at("/vehicle", "unknown-vehicle", "This fleet has no such vehicle.") from error
    return key


class OneImport(FleetView):
    roles = {"GET": Role.PLANNER}
    costly = frozenset({"PATCH"})

    @extend_schema(operation_id="read_import", responses=answers.ImportOut)
    def get(self, request: Any, fleet_id: uuid.UUID, import_id: uuid.UUID) -> Response:
        return Response(answers.job_json(jobs.jobs_of(self.access, ExchangeKind.IMPORT).one(pk=import_id)))

    @extend_schema(operation_id="change_import", request=ReadingIn, responses={202: answers.ImportOut})
    def patch(self, request: Any, fleet_id: uuid.UUID, import_id: uuid.UUID) -> Response:
        job = jobs.jobs_of(self.access, ExchangeKind.IMPORT).one(pk=import_id)
        jobs.change_import(self.access, job, self.parsed(ReadingIn))
        return accepted(self, job, request.path)


class StoreImport(FleetView):
    costly = frozenset({"POST"})

    @extend_schema(operation_id="store_import", request=StoreIn, responses={202: answers.ImportOut})
    def post(self, request: Any, fleet_id: uuid.UUID, import_id: uuid.UUID) -> Response:
        job = jobs.jobs_of(self.access, ExchangeKind.IMPORT).one(pk=import_id)
        jobs.store_import(self.access, job, skip_bad_rows=self.parsed(StoreIn)["skip_bad_rows"])
        return accepted(self, job, request.path.removesuffix("store/"))


class BadRows(FleetView):
    roles = {"GET": Role.PLANNER}
    content_negotiation_class = FilesAsTheyAre

    @extend_schema(operation_id="read_bad_rows", responses={(200, "text/csv; charset=utf-8"): OpenApiTypes.BINARY})
    def get(self, request: Any, fleet_id: uuid.UUID, import_id: uuid.UUID) -> HttpResponse:
        job = jobs.jobs_of(self.access, ExchangeKind.IMPORT).one(pk=import_id)
        if not job.upload:
            raise NotFound
        columns, rows = bad_rows(stored_files.content_of(job.upload), job.result)
        answer = HttpResponse(csv_text([columns, *rows]), content_type="text/csv; charset=utf-8")
        answer["Content-Disposition"] = 'attachment; filename="rows-to-correct.csv"'
        return answer
