"""What clients may ask of a plan."""

import uuid
from decimal import Decimal
from typing import Any

from rest_framework import serializers
from rest_framework.exceptions import ErrorDetail, ValidationError

from fleetcare.fleet.api.inputs import NumberField, ZeroOrMoreMoney
from fleetcare.support.strict import StrictSerializer
from scheduling.core.planner.frontier import Of
from scheduling.services.plans import JobAsk, JobRef, PersonAsk, PlanAsk, VisitAsk

MOST_VISITS, MOST_PEOPLE, MOST_WISHES, MOST_VEHICLES, MOST_STEPS = 20, 20, 200, 500, 12
_SKILL = r"^[a-z0-9]+(-[a-z0-9]+)*$"


def _hours(**options: Any) -> NumberField:
    return NumberField(**{"min_value": Decimal(0), "max_value": Decimal(1000), "decimal_places": 2, **options})


def _skills() -> serializers.ListField:
    return serializers.ListField(
        child=serializers.RegexField(_SKILL, max_length=40),
        required=False,
        max_length=20,
        help_text="`licensed`, `difficulty-1` to `difficulty-5` (the hardest that is managed), or words of your own.",
    )


class PersonIn(StrictSerializer):
    name = serializers.CharField(max_length=80)
    hours = _hours()
    skills = _skills()


class VisitIn(StrictSerializer):
    """An occasion to work. Of `stands_hours` and `lift_hours` neither: no limit; one: there is none of the other."""

    date = serializers.DateField()
    hours = _hours(min_value=Decimal("0.25"), help_text="Working hours, of everybody together.")
    budget = ZeroOrMoreMoney()
    people = serializers.ListField(
        child=PersonIn(),
        required=False,
        max_length=MOST_PEOPLE,
        help_text="Who works; empty: whoever is there may do everything.",
    )
    stands_hours = _hours(required=False, help_text="How long a vehicle can stand on stands.")
    lift_hours = _hours(required=False, help_text="How long the lift is free; work for stands may use it too.")
    vehicles = serializers.ListField(
        child=serializers.UUIDField(), required=False, max_length=MOST_VEHICLES, help_text="Only these can come."
    )


class JobRefIn(StrictSerializer):
    """A job of a vehicle; at these positions, or wherever it is open where none are named."""

    vehicle = serializers.UUIDField()
    job = serializers.CharField(max_length=100)
    positions = serializers.ListField(child=serializers.CharField(max_length=40), required=False, max_length=20)


class WishIn(JobRefIn):
    must = serializers.BooleanField(required=False)
    leave_out = serializers.BooleanField(required=False)
    not_before = serializers.DateField(required=False)
    not_after = serializers.DateField(required=False)
    requires = serializers.ListField(
        child=JobRefIn(), required=False, max_length=20, help_text="Done in the same visit or before."
    )
    excludes = serializers.ListField(child=JobRefIn(), required=False, max_length=20)
    skills = _skills()


class PlanQuestion(StrictSerializer):
    """Vehicles (all of the fleet where none are named), the visits there are, wishes about single jobs."""

    vehicles = serializers.ListField(child=serializers.UUIDField(), required=False, max_length=MOST_VEHICLES)
    visits = serializers.ListField(child=VisitIn(), min_length=1, max_length=MOST_VISITS)
    wishes = serializers.ListField(child=WishIn(), required=False, max_length=MOST_WISHES)
    carry_over = serializers.BooleanField(default=True, help_text="Money not spent at a visit is there at the next.")


def _exact() -> serializers.BooleanField:
    return serializers.BooleanField(
        default=False,
        help_text="false: what is found at once, with its bound; the best follows (`state` tells). "
        "true: waits for it, 5 seconds at most.",
    )


class PlanNew(PlanQuestion):
    title = serializers.CharField(
        max_length=120,
        required=False,
        allow_blank=True,
        help_text="A plan with a title stays until it is deleted; of the others the newest 50.",
    )
    exact = _exact()


class PlanRenewal(StrictSerializer):
    """What is asked otherwise than last time; an empty body asks the same again."""

    vehicles = serializers.ListField(child=serializers.UUIDField(), required=False, max_length=MOST_VEHICLES)
    visits = serializers.ListField(child=VisitIn(), min_length=1, max_length=MOST_VISITS, required=False)
    wishes = serializers.ListField(child=WishIn(), required=False, max_length=MOST_WISHES)
    carry_over = serializers.BooleanField(required=False)
    exact = _exact()


class FrontierQuestion(PlanQuestion):
    """A plan's question, asked for several amounts of money or hours in all, split over the visits as they are."""

    of = serializers.ChoiceField(["money", "hours"], default="money")
    steps = serializers.IntegerField(
        default=6, min_value=2, max_value=MOST_STEPS, help_text="Even steps from nothing to all that is worth doing."
    )
    amounts = serializers.ListField(
        child=ZeroOrMoreMoney(), required=False, min_length=1, max_length=MOST_STEPS, help_text="Instead of steps."
    )
    hours = serializers.ListField(
        child=_hours(), required=False, min_length=1, max_length=MOST_STEPS, help_text="Instead of steps, for hours."
    )

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        other = "hours" if attrs["of"] == "money" else "amounts"
        if other in attrs:
            raise ValidationError({other: [ErrorDetail(f"This frontier is one of {attrs['of']}.", "other-kind")]})
        return attrs


def ask_of(values: dict[str, Any]) -> PlanAsk:
    """The question of a body."""
    return PlanAsk(**{"vehicles": (), **asked(values)})


def asked(values: dict[str, Any]) -> dict[str, Any]:
    """The parts of a question that a body gives."""
    makers: dict[str, Any] = {"vehicles": _ids, "visits": _visits, "wishes": _wishes, "carry_over": bool}
    return {name: make(values[name]) for name, make in makers.items() if name in values}


def _ids(values: list[uuid.UUID]) -> tuple[uuid.UUID, ...]:
    return tuple(values)


def _visits(values: list[dict[str, Any]]) -> tuple[VisitAsk, ...]:
    return tuple(
        VisitAsk(
            on=each["date"],
            minutes=_minutes(each["hours"]),
            budget_minor=each["budget"],
            people=tuple(
                PersonAsk(person["name"], _minutes(person["hours"]), tuple(person.get("skills", ())))
                for person in each.get("people", ())
            ),
            stands_minutes=_minutes(each["stands_hours"]) if "stands_hours" in each else None,
            lift_minutes=_minutes(each["lift_hours"]) if "lift_hours" in each else None,
            vehicles=tuple(each.get("vehicles", ())),
        )
        for each in values
    )


def _wishes(values: list[dict[str, Any]]) -> tuple[JobAsk, ...]:
    return tuple(
        JobAsk(
            of=_ref(each),
            must=each.get("must", False),
            leave_out=each.get("leave_out", False),
            not_before=each.get("not_before"),
            not_after=each.get("not_after"),
            requires=tuple(_ref(ref) for ref in each.get("requires", ())),
            excludes=tuple(_ref(ref) for ref in each.get("excludes", ())),
            skills=tuple(each.get("skills", ())),
        )
        for each in values
    )


def _ref(values: dict[str, Any]) -> JobRef:
    return JobRef(values["vehicle"], values["job"], tuple(values.get("positions", ())))


def _minutes(hours: Decimal) -> int:
    return int(hours * 60)


def amounts_of(values: dict[str, Any]) -> tuple[Of, list[int] | None]:
    """What a frontier counts, and at which amounts in its whole units, if they are given."""
    if values["of"] == "money":
        return "money", values.get("amounts")
    return "minutes", [_minutes(each) for each in values["hours"]] if "hours" in values else None
