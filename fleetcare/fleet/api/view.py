"""What every API view does: counts requests, and answers a repeated POST once."""

from __future__ import annotations

import functools
from collections.abc import Callable
from typing import Any

from django.http import HttpResponse
from rest_framework.response import Response
from rest_framework.views import APIView

from fleetcare.fleet.services.repeats import answered_once
from fleetcare.support.idempotency import HEADER, REPLAYED, Answer, asked_of, key_of
from fleetcare.support.json import FastJSONRenderer
from fleetcare.support.throttling import Count, counted, headers_of, policy_of

Handler = Callable[..., Any]


class ApiView(APIView):
    """The root of the API's views."""

    def __init_subclass__(cls, **options: Any) -> None:
        """Wraps every `post` where it is written, so that none can be forgotten."""
        super().__init_subclass__(**options)
        if "post" in cls.__dict__:
            cls.post = _once(cls.__dict__["post"])  # type: ignore[attr-defined]

    def initial(self, request: Any, *args: Any, **kwargs: Any) -> None:
        super().initial(request, *args, **kwargs)
        self.counts: list[Count] = []
        if request.user is not None:
            self.count("key", actor_of(request))

    def count(self, policy: str, who: str) -> None:
        """Counts this request; raises TooMany once the quota is used up."""
        self.counts.append(counted(policy_of(policy), who))

    def finalize_response(self, request: Any, response: Any, *args: Any, **kwargs: Any) -> Any:
        answer = super().finalize_response(request, response, *args, **kwargs)
        for name, value in headers_of(getattr(self, "counts", ())).items():
            # A refusal tells of the policy that refused, and only of that.
            answer.headers.setdefault(name, value)
        return answer


def actor_of(request: Any) -> str:
    """Who asks: a key or a person."""
    return f"key:{request.auth.pk}" if request.auth is not None else f"user:{request.user.pk}"


def _once(post: Handler) -> Handler:
    @functools.wraps(post)
    def answered(view: ApiView, request: Any, *args: Any, **kwargs: Any) -> Any:
        key = key_of(request.headers.get(HEADER))
        if key is None:
            return post(view, request, *args, **kwargs)
        fleet_id = kwargs.get("fleet_id")
        asked = asked_of(request, key, actor_of(request), fleet_id)
        answer, is_replay = answered_once(asked, fleet_id, lambda: _as_sent(post(view, request, *args, **kwargs)))
        headers = {**answer.headers, REPLAYED: "true"} if is_replay else answer.headers
        sent = HttpResponse(answer.body, status=answer.status, headers=headers)
        if not answer.body:
            del sent["Content-Type"]
        return sent

    return answered


def _as_sent(response: Response) -> Answer:
    headers = {**response.headers, "Content-Type": FastJSONRenderer.media_type}
    return Answer(response.status_code, headers, FastJSONRenderer().render(response.data))
