"""Log lines without secrets: what opens a calendar, a report or an estimate stands in an address."""

import logging
import re

_SECRET = re.compile(r"(?<=/)(?![0-9a-fA-F-]{36}(?![\w:-]))[\w:-]{32,}")
"""A path segment long enough to be a secret and no UUID."""


def masked(text: str) -> str:
    """The text with every secret in an address replaced."""
    return _SECRET.sub("***", text)


class MaskSecrets(logging.Filter):
    """Masks secrets in the message and its arguments of every record."""

    def filter(self, record: logging.LogRecord) -> bool:
        if isinstance(record.msg, str):
            record.msg = masked(record.msg)
        if isinstance(record.args, tuple):
            record.args = tuple(masked(each) if isinstance(each, str) else each for each in record.args)
        return True
