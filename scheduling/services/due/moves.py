"""On which days a due item comes nearer: stored with it, so that a sweep touches only what moves today."""

from datetime import timedelta

from scheduling.core.due import State
from scheduling.models import DueItem

MOVES = ("soon_on", "overdue_on", "next_move_on")


def set_moves(item: DueItem, lead_days: int) -> None:
    """Sets the days on which the item turns soon and overdue, and the next day on which its state moves at all.

    It turns due on `earliest_on`, which the item has already, as it has its date and its state.
    """
    item.soon_on = item.earliest_on - timedelta(days=lead_days) if item.earliest_on else None
    item.overdue_on = item.limit_on + timedelta(days=1) if item.limit_on else None
    following = {State.LATER: item.soon_on, State.SOON: item.earliest_on, State.DUE: item.overdue_on}
    item.next_move_on = following.get(State(item.state))
