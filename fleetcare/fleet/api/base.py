"""What every API view under a fleet shares: whose request it is, pages, validators, strict parameters."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from typing import TYPE_CHECKING, Any, ClassVar

from django.db.models import QuerySet
from rest_framework.response import Response

from fleetcare.fleet.access import Access, fleet_access
from fleetcare.fleet.api.view import ApiView
from fleetcare.fleet.selectors import vehicle_of
from fleetcare.fleet.words import Role
from fleetcare.support.pages import CursorPages
from fleetcare.support.strict import StrictSerializer, refuse_unknown_parameters
from fleetcare.support.versions import MatchRequired, etag, require_match

if TYPE_CHECKING:
    from fleetcare.fleet.models import Vehicle

Json = dict[str, Any]


class FleetView(ApiView):
    """A view under `fleets/<fleet>/`.

    `roles` says what each method takes; unlisted ones take a planner. `costly` names the methods that compute long
    or take in much, which have a limit of their own.
    """

    tag: ClassVar[str] = "fleet"
    roles: ClassVar[dict[str, Role]] = {}
    parameters: ClassVar[tuple[str, ...]] = ()
    costly: ClassVar[frozenset[str]] = frozenset()
    access: Access

    def initial(self, request: Any, *args: Any, **kwargs: Any) -> None:
        super().initial(request, *args, **kwargs)
        if request.method not in self.allowed_methods:
            return
        self.access = fleet_access(request.auth, request.user, kwargs["fleet_id"])
        # Only members use up what the fleet has.
        self.count("fleet", str(kwargs["fleet_id"]))
        if request.method in self.costly:
            self.count("costly", str(kwargs["fleet_id"]))
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

    def first_page(self, items: list[Json], ordering: tuple[str, ...]) -> Response:
        """The first page of those read already, in this order: the usual number, and one more if there are more."""
        pages = CursorPages()
        pages.begin(self.request, items, ordering)
        return pages.get_paginated_response(pages.page)

    def require_match(self, row: Any) -> None:
        """Honours If-Match against a versioned row; a PUT over a stored one has to send it."""
        header = self.request.headers.get("If-Match")
        if header is None and self.request.method == "PUT" and row.version:
            raise MatchRequired("Say with If-Match which state this replaces: send the ETag you have read.")
        require_match(header, row.version)

    def one(self, body: Json, version: int, *, status: int = 200, location: str | None = None) -> Response:
        """One versioned object with its validator for If-Match."""
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
