"""What strangers look for at fixed addresses."""

from datetime import timedelta

from django.conf import settings
from django.http import HttpRequest, HttpResponse
from django.utils import timezone
from django.views.decorators.http import require_safe

from fleetcare.fleet.services.persons import LANGUAGES

_GOOD_FOR = timedelta(days=180)


@require_safe
def security_txt(request: HttpRequest) -> HttpResponse:
    """Whom to tell of a hole (RFC 9116); good for half a year from whenever it is read."""
    until = (timezone.now() + _GOOD_FOR).replace(hour=0, minute=0, second=0, microsecond=0)
    lines = [
        f"Contact: {settings.SECURITY_CONTACT}",
        f"Expires: {until.isoformat().replace('+00:00', 'Z')}",
        f"Preferred-Languages: {', '.join(LANGUAGES)}",
        f"Canonical: {settings.SITE_URL}{request.path}",
    ]
    return HttpResponse("\n".join(lines) + "\n", content_type="text/plain; charset=utf-8")
