"""What is due: rules of scheduled work, the items they and the judge make, and what is done about them."""

from scheduling.services.due.items import add_follow_ups, close_item, drop_follow_ups, snooze_item
from scheduling.services.due.refresh import NEXT_DUE, DueRefresh, due_of, store_due
from scheduling.services.due.rules import (
    add_from_templates,
    add_rule,
    change_rule,
    drop_rule,
    drop_serviced,
    fits,
    mark_done,
    mark_serviced,
)
from scheduling.services.due.sweep import sweep_due

__all__ = [
    "NEXT_DUE",
    "DueRefresh",
    "add_follow_ups",
    "add_from_templates",
    "add_rule",
    "change_rule",
    "close_item",
    "drop_follow_ups",
    "drop_rule",
    "drop_serviced",
    "due_of",
    "fits",
    "mark_done",
    "mark_serviced",
    "snooze_item",
    "store_due",
    "sweep_due",
]
