"""Estimates for a customer: drafted, sent by a private link, answered line by line without a login."""

from scheduling.services.estimates.answering import answer_estimate, estimate_behind
from scheduling.services.estimates.drafting import (
    Draft,
    LineDraft,
    OptionDraft,
    change_estimate,
    draft_estimate,
    drop_estimate,
)
from scheduling.services.estimates.mailing import mail_estimate
from scheduling.services.estimates.sending import send_estimate, state_of, withdraw_estimate

__all__ = [
    "Draft",
    "LineDraft",
    "OptionDraft",
    "answer_estimate",
    "change_estimate",
    "draft_estimate",
    "drop_estimate",
    "estimate_behind",
    "mail_estimate",
    "send_estimate",
    "state_of",
    "withdraw_estimate",
]
