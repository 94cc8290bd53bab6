"""Photos of results, jobs and vehicles: sent as a form with a file, read back as clean JPEGs."""

from __future__ import annotations

import uuid
from typing import TYPE_CHECKING, Any

from django.http import HttpResponse, HttpResponseNotModified
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiParameter, OpenApiResponse, extend_schema
from rest_framework import serializers
from rest_framework.exceptions import ErrorDetail, ValidationError
from rest_framework.parsers import MultiPartParser
from rest_framework.response import Response

from fleetcare.fleet.api.answers import Answer, page_of
from fleetcare.fleet.api.base import Json, VehicleView
from fleetcare.fleet.words import Role
from fleetcare.support import stored_files
from fleetcare.support.negotiation import FilesAsTheyAre
from fleetcare.support.schema import Problem
from fleetcare.support.strict import StrictSerializer
from inspections import selectors
from inspections.services.photos import LONGEST_NOTE, delete_photo, store_photo
from inspections.words import PhotoOf

if TYPE_CHECKING:
    from inspections.models import Photo

_UPLOAD_ANSWERS = {
    (507, "application/problem+json"): OpenApiResponse(Problem, description="There is no room left to keep files.")
}
OF_WHOLE = [PhotoOf.VEHICLE.value, PhotoOf.JOB_BEFORE.value, PhotoOf.JOB_AFTER.value]
_SANDBOX = "default-src 'none'; frame-ancestors 'none'; sandbox"


class PhotoIn(StrictSerializer):
    photo = serializers.FileField(allow_empty_file=True, help_text="JPEG, PNG, WebP or HEIC, up to 10 MB.")
    note = serializers.CharField(max_length=LONGEST_NOTE, required=False, allow_blank=True)


class ResultPhotoIn(PhotoIn):
    check = serializers.CharField(max_length=100)
    position = serializers.CharField(max_length=40, required=False, allow_blank=True)


class WholePhotoIn(PhotoIn):
    of = serializers.ChoiceField(OF_WHOLE, default=PhotoOf.VEHICLE)
    job = serializers.UUIDField(required=False, help_text="The job that it was taken before or after.")


class PhotoOut(Answer):
    id = serializers.UUIDField()
    of = serializers.ChoiceField(PhotoOf.choices)
    inspection = serializers.UUIDField(allow_null=True)
    check = serializers.CharField(allow_null=True)
    position = serializers.CharField(allow_null=True)
    job = serializers.UUIDField(allow_null=True)
    note = serializers.CharField(allow_blank=True)
    taken_on = serializers.DateField(allow_null=True)
    width_px = serializers.IntegerField()
    height_px = serializers.IntegerField()
    size_bytes = serializers.IntegerField()
    image = serializers.CharField(help_text="Where the picture is read, as a path.")
    thumbnail = serializers.CharField(help_text="Where the small copy is read, as a path.")
    created_at = serializers.DateTimeField()


_PHOTOS = page_of(PhotoOut)


def photo_json(photo: Photo) -> Json:
    """A photo with the paths of its pictures."""
    address = f"/api/v1/fleets/{photo.fleet_id}/vehicles/{photo.vehicle_id}/photos/{photo.pk}/"
    return {
        "id": photo.pk,
        "of": photo.subject_kind,
        "inspection": photo.inspection_id,
        "check": photo.check_key or None,
        "position": photo.position or None,
        "job": photo.subject_id,
        "note": photo.note,
        "taken_on": photo.taken_on,
        "width_px": photo.width_px,
        "height_px": photo.height_px,
        "size_bytes": photo.size_bytes,
        "image": f"{address}image/",
        "thumbnail": f"{address}thumbnail/",
        "created_at": photo.created_at,
    }


def picture_response(request: Any, name: str, etag: str, filename: str) -> HttpResponse:
    """A kept JPEG that no browser takes for anything else; `name` is where it is kept."""
    if request.headers.get("If-None-Match") == etag:
        answer: HttpResponse = HttpResponseNotModified()
    else:
        answer = HttpResponse(stored_files.content_of(name), content_type="image/jpeg")
    answer["ETag"] = etag
    # Asked for again each time, so that a right that was taken away counts at once; mostly answered with 304.
    answer["Cache-Control"] = "private, no-cache"
    answer["X-Content-Type-Options"] = "nosniff"
    answer["Content-Disposition"] = f'inline; filename="{filename}"'
    answer["Content-Security-Policy"] = _SANDBOX
    return answer


class InspectionPhotos(VehicleView):
    roles = {"POST": Role.INSPECTOR}
    parser_classes = (MultiPartParser,)
    costly = frozenset({"POST"})

    @extend_schema(operation_id="list_inspection_photos", responses=_PHOTOS)
    def get(self, request: Any, fleet_id: uuid.UUID, vehicle_id: uuid.UUID, inspection_id: uuid.UUID) -> Response:
        inspection = selectors.inspections(self.vehicle).one(pk=inspection_id)
        return self.page(selectors.photos(self.vehicle).filter(inspection=inspection), photo_json, ("created_at", "id"))

    @extend_schema(
        operation_id="send_result_photo",
        request={"multipart/form-data": ResultPhotoIn},
        responses={200: PhotoOut, 201: PhotoOut, **_UPLOAD_ANSWERS},
    )
    def post(self, request: Any, fleet_id: uuid.UUID, vehicle_id: uuid.UUID, inspection_id: uuid.UUID) -> Response:
        inspection = selectors.inspections(self.vehicle).one(pk=inspection_id)
        values = self.parsed(ResultPhotoIn)
        photo, created = store_photo(
            self.access,
            self.vehicle,
            upload=values["photo"],
            inspection=inspection,
            check_key=values["check"],
            position=values.get("position", ""),
            note=values.get("note", ""),
        )
        return _stored(photo, created)


class VehiclePhotos(VehicleView):
    roles = {"POST": Role.INSPECTOR}
    parameters = ("of", "job")
    parser_classes = (MultiPartParser,)
    costly = frozenset({"POST"})

    @extend_schema(
        operation_id="list_photos",
        parameters=[
            OpenApiParameter("of", str, enum=PhotoOf.values),
            OpenApiParameter("job", OpenApiTypes.UUID),
        ],
        responses=_PHOTOS,
    )
    def get(self, request: Any, fleet_id: uuid.UUID, vehicle_id: uuid.UUID) -> Response:
        rows = selectors.photos(self.vehicle).filter(**_conditions(request.query_params))
        return self.page(rows, photo_json, ("created_at", "id"))

    @extend_schema(
        operation_id="send_photo",
        request={"multipart/form-data": WholePhotoIn},
        responses={200: PhotoOut, 201: PhotoOut, **_UPLOAD_ANSWERS},
    )
    def post(self, request: Any, fleet_id: uuid.UUID, vehicle_id: uuid.UUID) -> Response:
        values = self.parsed(WholePhotoIn)
        photo, created = store_photo(
            self.access,
            self.vehicle,
            upload=values["photo"],
            subject_kind=values["of"],
            subject_id=values.get("job"),
            note=values.get("note", ""),
        )
        return _stored(photo, created)


class OnePhoto(VehicleView):
    # An inspector may delete while the inspection is a draft: the service decides.
    roles = {"DELETE": Role.INSPECTOR}

    @extend_schema(operation_id="read_photo", responses=PhotoOut)
    def get(self, request: Any, fleet_id: uuid.UUID, vehicle_id: uuid.UUID, photo_id: uuid.UUID) -> Response:
        return Response(photo_json(selectors.photos(self.vehicle).one(pk=photo_id)))

    @extend_schema(operation_id="delete_photo", responses={204: None})
    def delete(self, request: Any, fleet_id: uuid.UUID, vehicle_id: uuid.UUID, photo_id: uuid.UUID) -> Response:
        delete_photo(self.access, selectors.photos(self.vehicle).one(pk=photo_id))
        return Response(status=204)


_PICTURE = {(200, "image/jpeg"): OpenApiTypes.BINARY, 304: OpenApiResponse(description="Unchanged since the ETag.")}


class PhotoImage(VehicleView):
    content_negotiation_class = FilesAsTheyAre

    @extend_schema(operation_id="read_photo_image", responses=_PICTURE)
    def get(self, request: Any, fleet_id: uuid.UUID, vehicle_id: uuid.UUID, photo_id: uuid.UUID) -> HttpResponse:
        photo = selectors.photos(self.vehicle).one(pk=photo_id)
        return picture_response(request, photo.picture, f'"{photo.sha256[:32]}"', f"photo-{photo.pk}.jpg")


class PhotoThumbnail(VehicleView):
    content_negotiation_class = FilesAsTheyAre

    @extend_schema(operation_id="read_photo_thumbnail", responses=_PICTURE)
    def get(self, request: Any, fleet_id: uuid.UUID, vehicle_id: uuid.UUID, photo_id: uuid.UUID) -> HttpResponse:
        photo = selectors.photos(self.vehicle).one(pk=photo_id)
        return picture_response(request, photo.thumbnail, f'"{photo.sha256[:31]}t"', f"photo-{photo.pk}-small.jpg")


def _stored(photo: Photo, created: bool) -> Response:
    body = photo_json(photo)
    return Response(body, status=201 if created else 200, headers={"Location": body["image"].removesuffix("image/")})


def _conditions(given: Any) -> Json:
    """Filters of the list; raises ValidationError for words that are none of ours."""
    found: Json = {}
    if "of" in given:
        if given["of"] not in PhotoOf.values:
            raise ValidationError({"of": [ErrorDetail(f"One of {', '.join(PhotoOf.values)}.", "choice")]})
        found["subject_kind"] = given["of"]
    if "job" in given:
        try:
            found["subject_id"] = uuid.UUID(given["job"])
        except ValueError as error:
            raise ValidationError({"job": [ErrorDetail("A UUID is needed.", "uuid")]}) from error
    return found
