"""`manage.py owner EMAIL --fleet NAME`: the first owner of a real installation."""

from typing import Any

from allauth.account.forms import default_token_generator
from allauth.account.utils import user_pk_to_url_str
from django.conf import settings
from django.core.exceptions import ValidationError
from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.core.validators import validate_email
from django.db import transaction
from django.urls import reverse

from fleetcare.fleet.models import User
from fleetcare.fleet.services.fleets import create_fleet
from fleetcare.fleet.words import DistanceUnit, FleetKind, LimitScheme
from fleetcare.kernel.errors import InvalidInput


class Command(BaseCommand):
    help = "Makes a fleet and its owner, and prints a link with which the owner sets a password."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("email")
        parser.add_argument("--fleet", required=True, help="the fleet's name")
        parser.add_argument("--kind", choices=FleetKind.values, default=FleetKind.HOUSEHOLD.value)
        parser.add_argument("--currency", default="EUR", help="ISO 4217, for example EUR")
        parser.add_argument("--unit", choices=DistanceUnit.values, default=DistanceUnit.KM.value)
        parser.add_argument("--limits", choices=LimitScheme.values, default=LimitScheme.EU.value)
        parser.add_argument("--time-zone", default="UTC", help="IANA, for example Europe/Berlin")

    def handle(self, *args: Any, **options: Any) -> None:
        email = options["email"].strip().lower()
        try:
            validate_email(email)
            user = _owner_of_new_fleet(email, options)
        except ValidationError as error:
            raise CommandError(f"{email}: {error.messages[0]}") from error
        except InvalidInput as error:
            raise CommandError(" ".join(fault.detail for fault in error.faults)) from error
        self.stdout.write(f"{options['fleet']} is there, owned by {email}.")
        if not user.has_usable_password():
            self.stdout.write(f"Set the password here, once and within three days:\n{_link(user)}")


@transaction.atomic
def _owner_of_new_fleet(email: str, options: dict[str, Any]) -> User:
    user = User.objects.filter(email__iexact=email).first()
    user = user or User.objects.create_user(email, time_zone=options["time_zone"])
    create_fleet(
        user,
        name=options["fleet"],
        kind=options["kind"],
        currency=options["currency"],
        distance_unit=options["unit"],
        limit_scheme=options["limits"],
        time_zone=options["time_zone"],
    )
    return user


def _link(user: User) -> str:
    key = default_token_generator.make_token(user)
    place = {"uidb36": user_pk_to_url_str(user), "key": key}
    path = reverse("account_reset_password_from_key", kwargs=place)
    return f"{settings.SITE_URL}{path}"
