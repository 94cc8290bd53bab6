"""The catalogue, to read; the same for everybody, so a public cache may keep it by its digest."""

from typing import Any

import msgspec
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import extend_schema
from rest_framework.response import Response
from rest_framework.views import APIView

from fleetcare.support.strict import refuse_unknown_parameters
from inspections.catalogue.loader import default_catalogue

Json = dict[str, Any]


class CatalogueView(APIView):
    tag = "catalogue"

    def items(self) -> list[Json]:
        raise AssertionError("each view of the catalogue lists its own kind")

    def answer(self, request: Any) -> Response:
        refuse_unknown_parameters(request.query_params, ())
        return Response({"digest": default_catalogue().digest, "items": self.items()})


def _plain(entry: Any, **more: Any) -> Json:
    plain: Json = msgspec.to_builtins(entry)
    return {**plain, **more}


class Systems(CatalogueView):
    def items(self) -> list[Json]:
        return [
            {
                "key": system.key,
                "title": system.title,
                "eu_group": system.eu_group,
                "parts": [p.key for p in system.parts],
            }
            for system in default_catalogue().systems.values()
        ]

    @extend_schema(operation_id="list_systems", responses=OpenApiTypes.OBJECT)
    def get(self, request: Any) -> Response:
        return self.answer(request)


class CatalogueParts(CatalogueView):
    def items(self) -> list[Json]:
        catalogue = default_catalogue()
        return [
            _plain(
                part,
                system=catalogue.system_of_part[part.key],
                checks=[f"{part.key}.{check.key}" for check in part.checks],
                jobs=[f"{part.key}.{job.key}" for job in part.jobs],
            )
            for part in catalogue.parts.values()
        ]

    @extend_schema(operation_id="list_catalogue_parts", responses=OpenApiTypes.OBJECT)
    def get(self, request: Any) -> Response:
        return self.answer(request)


class Checks(CatalogueView):
    def items(self) -> list[Json]:
        return [_plain(entry.check, key=key, part=entry.part.key) for key, entry in default_catalogue().checks.items()]

    @extend_schema(operation_id="list_checks", responses=OpenApiTypes.OBJECT)
    def get(self, request: Any) -> Response:
        return self.answer(request)


class CatalogueJobs(CatalogueView):
    def items(self) -> list[Json]:
        return [_plain(entry.job, key=key, part=entry.part.key) for key, entry in default_catalogue().jobs.items()]

    @extend_schema(operation_id="list_catalogue_jobs", responses=OpenApiTypes.OBJECT)
    def get(self, request: Any) -> Response:
        return self.answer(request)


class Sheets(CatalogueView):
    def items(self) -> list[Json]:
        return [_plain(sheet) for sheet in default_catalogue().sheets.values()]

    @extend_schema(operation_id="list_sheets", responses=OpenApiTypes.OBJECT)
    def get(self, request: Any) -> Response:
        return self.answer(request)
