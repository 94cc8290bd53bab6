"""Figures in the form of the API."""

from typing import Any

from fleetcare.kernel.money import Money, rounded_minor
from scheduling.core.keep_or_replace import Span, Verdict

Json = dict[str, Any]


class Telling:
    """Figures in the form of the API."""

    def __init__(self, currency: str) -> None:
        self.currency = currency

    def money(self, minor: int) -> Json:
        """A sum."""
        return Money(minor, self.currency).as_json()

    def span(self, minor: tuple[int, int, int]) -> Json:
        """Low, likely and high."""
        return {name: self.money(each) for name, each in zip(("low", "likely", "high"), minor, strict=True)}

    def rounded(self, span: Span) -> Json:
        """The same of figures not yet rounded."""
        return self.span((rounded_minor(span.low), rounded_minor(span.likely), rounded_minor(span.high)))

    def side(self, annual: tuple[int, int, int], years: float, terms: dict[str, Span], sources: dict[str, str]) -> Json:
        """One of the two: its annual cost and every term of it, with where it comes from."""
        likely = {name: rounded_minor(term.likely) for name, term in terms.items()}
        # The terms add up to the whole as they are shown: the largest takes the rounding.
        largest = max(likely, key=lambda name: abs(likely[name]))
        likely[largest] += annual[1] - sum(likely.values())
        return {
            "annual_cost": self.span(annual),
            "years": years,
            "terms": [
                {
                    "term": name,
                    "a_year": self.span((rounded_minor(term.low), likely[name], rounded_minor(term.high))),
                    "source": sources.get(name, "as you say"),
                }
                for name, term in terms.items()
            ],
        }

    def say(self, verdict: Verdict) -> str:
        """The verdict, and up to which bill repairing is worth it."""
        keep, other = (self._words(each[1]) for each in (verdict.keep_minor, verdict.replace_minor))
        even = verdict.break_even_bill_minor[1]
        worth = (
            f"Repairing is worth it up to a bill of about {self._words(even)}."
            if even > 0
            else "Replacing is cheaper even if there were nothing to repair."
        )
        told = {
            "keep": f"Keeping is cheaper: about {keep} a year against {other}.",
            "replace": f"Replacing is cheaper: about {other} a year against {keep}.",
            "too-close": f"Too close to call: about {keep} a year for keeping, {other} for replacing.",
        }[verdict.better]
        return f"{told} {worth}"

    def _words(self, minor: int) -> str:
        money = self.money(minor)
        return f"{money['amount']} {money['currency']}"
