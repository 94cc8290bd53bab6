"""The fixed words of the report on paper, in the reader's language."""

from django.utils.translation import gettext


def labels() -> dict[str, str]:
    """Every heading and column of the layout, by the name that the layout calls it."""
    return _headings() | _columns() | _sentences()


def _headings() -> dict[str, str]:
    return {
        "title": gettext("Condition report"),
        "do_not_drive": gettext("Do not drive"),
        "verdict": gettext("Verdict"),
        "cautions": gettext("Cautions before anybody works on it"),
        "findings": gettext("Open findings"),
        "jobs": gettext("What to do first"),
        "not_examined": gettext("What was not examined"),
        "never_seen": gettext("Never examined"),
        "left_out": gettext("Left out at the last inspection"),
        "forecast": gettext("Forecast"),
        "wear": gettext("Measured wear"),
        "chances": gettext("Likeliest to fail within a year"),
        "history": gettext("History"),
        "score_over_time": gettext("Condition score over time"),
        "inspections": gettext("Inspections"),
        "fitted": gettext("Parts fitted"),
        "judged": gettext("How it was judged"),
    }


def _columns() -> dict[str, str]:
    return {
        "plate": gettext("Plate"),
        "vin": gettext("VIN"),
        "odometer": gettext("Odometer"),
        "first_used": gettext("First used"),
        "kept_by": gettext("Kept by"),
        "rank": gettext("Rank"),
        "job": gettext("Job"),
        "grade": gettext("Grade"),
        "do_before": gettext("Do before"),
        "cost": gettext("Cost"),
        "system": gettext("System"),
        "parts": gettext("Parts"),
        "part": gettext("Part"),
        "now_about": gettext("Now about"),
        "limit": gettext("Limit"),
        "limit_at": gettext("Limit at"),
        "limit_when": gettext("Limit around"),
        "last_seen_as": gettext("Last seen as"),
        "chance": gettext("Chance"),
        "failure_expected": gettext("Failure expected"),
        "day": gettext("Day"),
        "sheet": gettext("Sheet"),
        "checks": gettext("Checks"),
        "worst": gettext("Worst grade"),
        "inspector": gettext("Inspector"),
        "what_fitted": gettext("What was fitted"),
        "fitted_when": gettext("Fitted"),
        "came_off": gettext("Came off"),
    }


def _sentences() -> dict[str, str]:
    return {
        "none": gettext("None."),
        "now": gettext("now"),
        "limit_reached": gettext("reached"),
        "before_driving": gettext("before driving"),
        "licensed": gettext("licensed technician"),
        "of_100": gettext("of 100"),
        "seen_dangerous": gettext("Seen dangerous, and what happens when it fails:"),
        "cautions_lead": gettext("Local rules, the maker's data and a licensed technician come first."),
        "chart_key": gettext("Dots: measured. Dashed: expected. Band: eight cases of ten. Heavy line: limit."),
        "qr_alt": gettext("Code that leads to the page of this vehicle:"),
        "qr_caption": gettext("The vehicle's page, for members of its fleet."),
        "disclaimer_more": gettext(
            "Anything may have changed since the day of the last inspection. Whoever relies on this report has the "
            "vehicle examined where safety or money depends on it."
        ),
    }
