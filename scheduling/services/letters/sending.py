"""Sending letters: one connection for many, each answer of the mail server read for what it says about trying again."""

import logging
import smtplib
from contextlib import suppress
from datetime import datetime, timedelta
from email.utils import formataddr, parseaddr

from django.conf import settings
from django.core.mail import EmailMultiAlternatives, get_connection
from django.db.models import F, QuerySet
from django.utils import timezone

from scheduling.models import Letter, ReminderChoice
from scheduling.selectors import every_letter
from scheduling.services.letters.readers import Reader
from scheduling.services.letters.wording import Wording, worded
from scheduling.services.queue import Outcome, ended, free, later, park, pause_after, run_until, sent, work_through
from scheduling.words import LetterKind, QueueState, Rhythm

log = logging.getLogger(__name__)

_MINUTE, _HOUR = timedelta(minutes=1), timedelta(hours=1)
PAUSES = (
    5 * _MINUTE, 30 * _MINUTE, _HOUR, 2 * _HOUR, 4 * _HOUR, 8 * _HOUR, 16 * _HOUR, 24 * _HOUR, 24 * _HOUR, 24 * _HOUR,
)  # fmt: skip
"""After a refusal for the time being: more than four days in all, as RFC 5321 section 4.5.4.1 asks (from memory)."""
_CLOSING = 421
_LAST_TEMPORARY = 499


def send_letters() -> int:
    """Sends what is free until it is all done or half a minute has gone; returns how many came to an outcome."""
    room = Mailroom()
    try:
        return work_through(_ready, room.perform, lambda _: "mail server", until=run_until())
    finally:
        room.close()


def waiting_letters(now: datetime) -> bool:
    """Whether anything could be sent."""
    return _ready(now).exists()


def park_letters() -> int:
    """Parks letters whose every attempt ended in silence."""
    return park(every_letter())


def _ready(now: datetime) -> QuerySet[Letter]:
    return every_letter().filter(free(now))


class Mailroom:
    """One connection to the mail server, opened when the first letter goes out."""

    def __init__(self) -> None:
        self._line = get_connection()
        self._open = False

    def close(self) -> None:
        """Hangs up; a line that is broken already is no fault."""
        if self._open:
            with suppress(OSError, smtplib.SMTPException):
                self._line.close()
        self._open = False

    def perform(self, letter: Letter) -> Outcome:
        """Sends one letter, unless the reader sleeps, wants none any more, or nothing of it stands."""
        now, reader = timezone.now(), Reader.of(letter.reader)
        if not _wanted(letter):
            return ended(QueueState.WITHDRAWN, "The reader wants none of these any more.")
        quiet_until = reader.quiet_until(now)
        if quiet_until is not None:
            return later(quiet_until, "It waits for the end of the reader's quiet hours.", refused=False)
        wording = worded(letter, reader, now)
        if wording is None:
            return ended(QueueState.WITHDRAWN, "Nothing of it stands any more.")
        return self._post(letter, reader, wording)

    def _post(self, letter: Letter, reader: Reader, wording: Wording) -> Outcome:
        try:
            message = _message(letter, reader, wording)
            message.message()
        except (ValueError, UnicodeError) as error:
            return _bounced(letter, f"This address cannot be written on a mail: {error}")
        try:
            self._line.open()
            self._open = True
        except (OSError, smtplib.SMTPException) as error:
            return self._blocked(error)
        try:
            self._line.send_messages([message])
        except (OSError, smtplib.SMTPException) as error:
            return self._refused(letter, error)
        _fine(letter)
        return sent("The mail server took it.", subject=wording.subject[:200])

    def _blocked(self, error: Exception) -> Outcome:
        """The server does not answer or does not want us: no letter's fault, all wait."""
        self.close()
        log.error("mail server: %s: %s", type(error).__name__, error)
        return later(timezone.now() + _MINUTE, f"The mail server: {error}", refused=False, stop=True)

    def _refused(self, letter: Letter, error: Exception) -> Outcome:
        code, text = _said(error)
        if isinstance(error, smtplib.SMTPSenderRefused):
            return self._blocked(error)
        if code is None or code == _CLOSING:
            # Cut off in the middle: it may have been taken. The Message-ID stays, so that a repeat can be recognised.
            self.close()
        if code is not None and code > _LAST_TEMPORARY:
            return _bounced(letter, text)
        pause = pause_after(letter.refusals + 1, PAUSES)
        return ended(QueueState.GIVEN_UP, text) if pause is None else later(timezone.now() + pause, text)


def _wanted(letter: Letter) -> bool:
    if letter.kind == LetterKind.SAFETY:
        return letter.reader.safety_at_once
    return letter.reader.rhythm != Rhythm.NEVER


def _said(error: Exception) -> tuple[int | None, str]:
    """The server's reply code, if there was one, and its words."""
    words: bytes | str
    if isinstance(error, smtplib.SMTPRecipientsRefused):
        code, words = next(iter(error.recipients.values()))
    elif isinstance(error, smtplib.SMTPResponseException):
        code, words = error.smtp_code, error.smtp_error
    else:
        return None, f"{type(error).__name__}: {error}"
    text = words.decode("utf-8", "replace") if isinstance(words, bytes) else str(words)
    return int(code), f"{code} {text}"


def _reader_rows(letter: Letter) -> QuerySet[ReminderChoice]:
    return ReminderChoice.objects.within(letter.fleet_id).filter(pk=letter.reader_id)


def _bounced(letter: Letter, text: str) -> Outcome:
    log.warning("letter %s of fleet %s bounced", letter.pk, letter.fleet_id)
    _reader_rows(letter).update(bounces=F("bounces") + 1)
    return ended(QueueState.BOUNCED, text)


def _fine(letter: Letter) -> None:
    if letter.reader.bounces:
        _reader_rows(letter).update(bounces=0)


def message_id(letter: Letter) -> str:
    """The same at every attempt: whoever gets a repeat can tell (RFC 5322 section 3.6.4)."""
    domain = parseaddr(settings.DEFAULT_FROM_EMAIL)[1].rpartition("@")[2] or "localhost"
    return f"<{letter.pk.hex}.reminder@{domain}>"


def _message(letter: Letter, reader: Reader, wording: Wording) -> EmailMultiAlternatives:
    headers = {
        "Message-ID": message_id(letter),
        # RFC 3834: no machine is to answer this.
        "Auto-Submitted": "auto-generated",
        "List-Unsubscribe": f"<{wording.stop}>",
    }
    if wording.stop.startswith("https://"):
        # RFC 8058: only an https address can be used with one click.
        headers["List-Unsubscribe-Post"] = "List-Unsubscribe=One-Click"
    name = " ".join(reader.name.split())
    message = EmailMultiAlternatives(
        wording.subject, wording.text, to=[formataddr((name, reader.email))], headers=headers
    )
    message.attach_alternative(wording.html, "text/html")
    return message
