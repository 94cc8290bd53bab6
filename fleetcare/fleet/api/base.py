"""What every API view under a fleet shares: whose request it is, pages, validators, strict parameters."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from typing import TYPE_CHECKING, Any, ClassVar

from django.db.models import QuerySet
from rest_framework.response import Response
from rest_framework.views import APIView

from fleetcare.fleet.access import Access, fleet_access
from fleetcare.fleet.selectors import vehicle_of
from fleetcare.fleet.words import Role
from fleetcare.support.pages import CursorPages
from fleetcare.support.strict import StrictSerializer, refuse_unknown_parameters
from fleetcare.support.versions import etag, require_match

if TYPE_CHECKING:
    from fleetcare.fleet.models import Vehicle

Json = dict[str, Any]


class FleetView(APIView):
    """A view under `fleets/<fleet>/`. `roles` says what each method takes; unlisted ones take a planner."""

    tag: ClassVar[str] = "fleet"
    roles: ClassVar[dict[str, Role]] = {}
    parameters: ClassVar[tuple[str, ...]] = ()
    access: Access

    def initial(self, request: Any, *args: Any, **kwargs: Any) -> None:
        super().initial(request, *args, **kwargs)
        if request.method not in self.allowed_methods:
            return
        self.access = fleet_access(request.auth, request.user, kwargs["fleet_id"])
        default = Role.VIEWER if request.method in {"GET", "HEAD", "OPTIONS"} else Role.PLANNER
        self.access.require(self.roles.get(request.method, default))
        pages = ("limit", "cursor") if request.method == "GET" else ()
        refuse_unknown_parameters(request.query_params, (*self.parameters, *pages))

    def parsed(self, serializer: type[StrictSerializer], **options: Any) -> Json:
        """The body, checked; raises ValidationError naming every fault."""
        checked = serializer(data=self.request.data, context={"access": self.access}, **options)
        checked.is_valid(raise_exception=True)
        values: Json = checked.validated_data
        return values

    def page(self, rows: QuerySet[Any], shape: Callable[[Any], Json], ordering: Iterable[str]) -> Response:
        """One cursor page of rows, each as JSON."""
        pages = CursorPages()
        pages.ordering = tuple(ordering)
        found = pages.paginate_queryset(rows, self.request, view=self)
        return pages.get_paginated_response([shape(row) for row in found or ()])

    def require_match(self, row: Any) -> None:
        """Honours If-Match against a versioned row."""
        require_match(self.request.headers.get("If-Match"), row.version)

    def one(self, body: Json, version: int, *, status: int = 200, location: str | None = None) -> Response:
        """One versioned object with its validator for If-Match.

        Never 304: where a vehicle stands changes without a new version of the row that a client may write.
        """
        headers = {"ETag": etag(version)}
        if location:
            headers["Location"] = location
        return Response(body, status=status, headers=headers)


class VehicleView(FleetView):
    """A view under `fleets/<fleet>/vehicles/<vehicle>/`."""

    tag = "vehicle"
    vehicle: Vehicle

    def initial(self, request: Any, *args: Any, **kwargs: Any) -> None:
        super().initial(request, *args, **kwargs)
        if hasattr(self, "access"):
            self.vehicle = vehicle_of(self.access, kwargs["vehicle_id"])
