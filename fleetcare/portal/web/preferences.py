"""The reader's language and time zone on the pages. The API speaks plain: its answers depend on no reader."""

from collections.abc import Callable
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from django.conf import settings
from django.http import HttpRequest, HttpResponse
from django.utils import timezone, translation

Next = Callable[[HttpRequest], HttpResponse]
ASKED = "language"
"""The parameter by which a stranger chooses a language; it is kept in a cookie that holds nothing else."""
_YEAR_SECONDS = 365 * 24 * 3600


def _zone(name: str) -> ZoneInfo | None:
    try:
        return ZoneInfo(name)
    except (ZoneInfoNotFoundError, ValueError):
        return None


class ReaderMiddleware:
    """What a signed-in reader chose wins over what a stranger asked for, and that over what the browser says."""

    def __init__(self, get_response: Next) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        if request.path.startswith("/api/"):
            _speak(request, settings.LANGUAGE_CODE)
            return self.get_response(request)
        # Without the cookie nobody is signed in; asking would mark every public page as different for each reader.
        if settings.SESSION_COOKIE_NAME not in request.COOKIES or not request.user.is_authenticated:
            return self._for_a_stranger(request)
        _speak(request, _asked(request) or request.user.language)
        with timezone.override(_zone(request.user.time_zone)):
            return self.get_response(request)

    def _for_a_stranger(self, request: HttpRequest) -> HttpResponse:
        asked = _asked(request)
        if not asked:
            return self.get_response(request)
        _speak(request, asked)
        response = self.get_response(request)
        response.set_cookie(
            settings.LANGUAGE_COOKIE_NAME,
            asked,
            max_age=_YEAR_SECONDS,
            httponly=True,
            secure=settings.SESSION_COOKIE_SECURE,
            samesite="Lax",
        )
        return response


def _asked(request: HttpRequest) -> str:
    """The language that the address asks for, if there is such a one."""
    asked = request.GET.get(ASKED, "")
    return asked if asked in dict(settings.LANGUAGES) else ""


def _speak(request: HttpRequest, language: str) -> None:
    """In a language there is; any other one leaves it at what the browser said."""
    if language in dict(settings.LANGUAGES):
        translation.activate(language)
        request.LANGUAGE_CODE = translation.get_language()


def language_of(request: HttpRequest) -> str:
    """The language of whoever asks, also under an address of the API: for papers, which people read."""
    own = getattr(request.user, "language", "") if request.user.is_authenticated else ""
    return own if own in dict(settings.LANGUAGES) else translation.get_language_from_request(request)
