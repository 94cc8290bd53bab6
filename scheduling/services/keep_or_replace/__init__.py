"""Keep a vehicle or replace it."""

from scheduling.services.keep_or_replace.asked import KeepAsk, ReplaceAsk
from scheduling.services.keep_or_replace.comparing import compare

__all__ = ["KeepAsk", "ReplaceAsk", "compare"]
