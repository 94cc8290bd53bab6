"""The reader's language and time zone on the pages. The API speaks plain: its answers depend on no reader."""

from collections.abc import Callable
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from django.conf import settings
from django.http import HttpRequest, HttpResponse
from django.utils import timezone, translation

Next = Callable[[HttpRequest], HttpResponse]


def _zone(name: str) -> ZoneInfo | None:
    try:
        return ZoneInfo(name)
    except (ZoneInfoNotFoundError, ValueError):
        return None


class ReaderMiddleware:
    """What a signed-in reader chose wins over what their browser says."""

    def __init__(self, get_response: Next) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        # Without the cookie nobody is signed in; asking would mark every public page as different for each reader.
        if request.path.startswith("/api/") or settings.SESSION_COOKIE_NAME not in request.COOKIES:
            return self.get_response(request)
        if not request.user.is_authenticated:
            return self.get_response(request)
        if request.user.language and translation.check_for_language(request.user.language):
            translation.activate(request.user.language)
            request.LANGUAGE_CODE = translation.get_language()
        with timezone.override(_zone(request.user.time_zone)):
            return self.get_response(request)
