"""What makes the site an installed page: manifest, service worker, the page without a connection, who is signed in."""

import hashlib
import json
from functools import lru_cache
from pathlib import Path

from django.contrib.staticfiles import finders
from django.http import HttpRequest, HttpResponse, JsonResponse
from django.middleware.csrf import get_token
from django.shortcuts import render
from django.templatetags.static import static
from django.urls import reverse
from django.utils.translation import gettext
from django.views.decorators.cache import cache_control
from django.views.decorators.http import require_safe

WORKER = "fleetcare/walk/sw.js"
FILES = (
    "fleetcare/fleetcare.css",
    "fleetcare/walk.css",
    "fleetcare/favicon.svg",
    "fleetcare/walk/offline.js",
    "fleetcare/walk/queue.js",
    "fleetcare/walk/walk.js",
)
"""What a page needs when there is no connection."""
ICONS = (("192", "any"), ("512", "any"), ("512", "maskable"))


@require_safe
@cache_control(max_age=3600, public=True)
def manifest(request: HttpRequest) -> HttpResponse:
    """The web app manifest (W3C)."""
    icons = [
        {
            "src": static(f"fleetcare/walk/icon-{purpose}-{size}.png"),
            "sizes": f"{size}x{size}",
            "type": "image/png",
            "purpose": purpose,
        }
        for size, purpose in ICONS
    ]
    body = {
        "id": "/",
        "name": "fleetcare",
        "short_name": "fleetcare",
        "description": gettext("Look vehicles over, know what to do first."),
        "lang": "en",
        "start_url": "/",
        "scope": "/",
        "display": "standalone",
        "background_color": "#e6ebe8",
        "theme_color": "#155e57",
        "icons": [*icons, {"src": static("fleetcare/favicon.svg"), "sizes": "any", "type": "image/svg+xml"}],
    }
    return JsonResponse(body, content_type="application/manifest+json")


@lru_cache(maxsize=1)
def _source() -> tuple[str, str]:
    """The worker's own text, and a digest of everything it keeps."""
    paths = [finders.find(name) for name in (WORKER, *FILES)]
    texts = [Path(str(path)).read_bytes() for path in paths if path]
    return texts[0].decode(), hashlib.sha256(b"\0".join(texts)).hexdigest()[:16]


@require_safe
@cache_control(no_cache=True)
def worker(request: HttpRequest) -> HttpResponse:
    """The service worker, at the root so that the whole site is its scope."""
    source, version = _source()
    told = {
        "version": version,
        "files": [static(name) for name in FILES],
        "static": static(""),
        "offline": reverse("offline"),
        "signIn": reverse("sign-in"),
        "signOut": reverse("sign-out"),
    }
    return HttpResponse(f"const TOLD = {json.dumps(told)};\n{source}", content_type="text/javascript; charset=utf-8")


@require_safe
@cache_control(max_age=3600, public=True)
def offline(request: HttpRequest) -> HttpResponse:
    """What is shown where no connection is and the page was not kept; the same for everybody."""
    return render(request, "portal/walk/offline.html")


@require_safe
def session(request: HttpRequest) -> HttpResponse:
    """Who is signed in, and the token that a write needs; nobody is an answer too."""
    user = request.user if request.user.is_authenticated else None
    return JsonResponse({"user": str(user.pk) if user else None, "token": get_token(request) if user else None})
