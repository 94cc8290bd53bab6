"""What a mail or a calendar program opens without a login: stopping mails, and the calendar of what is due."""

from django.http import Http404, HttpRequest, HttpResponse, HttpResponseNotModified
from django.shortcuts import render
from django.views.decorators.csrf import csrf_exempt
from django.views.decorators.http import require_http_methods, require_safe

from scheduling.services.calendar_feed import calendar_feed
from scheduling.services.letters.stopping import stop, stoppable


# Whoever holds the link may stop mails and nothing else: a mail program posts without cookie or form token (RFC 8058).
@csrf_exempt
@require_http_methods(["GET", "HEAD", "POST"])
def stop_reminders(request: HttpRequest, token: str) -> HttpResponse:
    """GET shows what could be stopped and changes nothing, since scanners follow links; POST stops it."""
    stopped = request.method == "POST"
    if stopped:
        stop(token, everything="everything" in request.POST)
    about = stoppable(token)
    if about is None:
        raise Http404
    answer = render(request, "reminders/stop.html", {"about": about, "stopped": stopped})
    answer["Referrer-Policy"] = "no-referrer"
    return answer


@require_safe
def calendar(request: HttpRequest, token: str) -> HttpResponse:
    """The calendar under a secret address; 304 where the reader has it already."""
    feed = calendar_feed(token)
    if feed is None:
        raise Http404
    headers = {"ETag": feed.etag, "Cache-Control": "private, no-cache", "X-Robots-Tag": "noindex"}
    if _has_it(request.headers.get("If-None-Match", ""), feed.etag):
        return HttpResponseNotModified(headers=headers)
    headers["Content-Disposition"] = 'inline; filename="due.ics"'
    return HttpResponse(feed.body, content_type="text/calendar; charset=utf-8", headers=headers)


def _has_it(header: str, etag: str) -> bool:
    """Weak comparison, as RFC 9110 section 13.1.2 asks of If-None-Match."""
    tags = {tag.strip().removeprefix("W/") for tag in header.split(",")}
    return "*" in tags or etag in tags
