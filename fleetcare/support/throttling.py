"""Rate limits: how often one key, fleet or address may ask in a minute, and what the answers say of it.

Counted in fixed windows, one counter operation each; the headers are the IETF draft's RateLimit-Policy and RateLimit
(draft-ietf-httpapi-ratelimit-headers-10) and Retry-After (RFC 9110).
"""

from __future__ import annotations

import ipaddress
import logging
import math
import time
from collections.abc import Iterable
from dataclasses import dataclass

from django.conf import settings
from django.core.cache import BaseCache, caches
from django.http import HttpRequest
from redis.exceptions import RedisError

from fleetcare.kernel.errors import DomainError

log = logging.getLogger(__name__)

WINDOW_SECONDS = 60
_REST_SECONDS = 5.0
_IPV6_SITE_BITS = 64
"""What one customer of a provider is given: all its addresses count as one."""


class TooMany(DomainError):
    """More requests than the policy allows. Remedy: wait as long as Retry-After says."""

    code = "too-many-requests"
    status = 429
    title = "Too many requests"

    def __init__(self, count: Count) -> None:
        policy = count.policy
        super().__init__(
            f"At most {policy.quota} requests in {policy.window_seconds} seconds ({policy.name}); "
            f"the next one may come in {count.resets_in_seconds} seconds."
        )
        self.count = count


@dataclass(frozen=True, slots=True)
class Policy:
    """How many requests in how long."""

    name: str
    quota: int
    window_seconds: int = WINDOW_SECONDS


@dataclass(frozen=True, slots=True)
class Count:
    """Where somebody stands with a policy; `used` includes this request."""

    policy: Policy
    used: int
    resets_in_seconds: int

    @property
    def is_over(self) -> bool:
        """Whether this request is one too many."""
        return self.used > self.policy.quota


class _Rest:
    """The counter's pause after it failed: a request must not wait for a dead one each time."""

    until = 0.0


def policy_of(name: str) -> Policy:
    """The policy of the settings: `key`, `fleet`, `address` or `costly`."""
    return Policy(name, settings.REQUESTS_PER_MINUTE[name])


def counted(policy: Policy, who: str) -> Count:
    """Counts one request. Raises TooMany once the quota is used up."""
    now = time.time()
    window = int(now // policy.window_seconds)
    left = math.ceil((window + 1) * policy.window_seconds - now)
    count = Count(policy, _one_more(f"{policy.name}:{who}:{window}", policy.window_seconds), max(left, 1))
    if count.is_over:
        raise TooMany(count)
    return count


def _one_more(key: str, seconds: int) -> int:
    if time.monotonic() < _Rest.until:
        return 1
    cache = caches["limits"]
    try:
        return _raised(cache, key, seconds)
    except (RedisError, OSError) as error:
        # Nobody is refused because the counter is away.
        _Rest.until = time.monotonic() + _REST_SECONDS
        log.warning("requests are not counted: %s", error)
        return 1


def _raised(cache: BaseCache, key: str, seconds: int) -> int:
    try:
        return cache.incr(key)
    except ValueError:
        # The first of the window; of two at once one adds and both raise.
        cache.add(key, 0, timeout=seconds + 1)
        return cache.incr(key)


def headers_of(counts: Iterable[Count]) -> dict[str, str]:
    """RateLimit-Policy and RateLimit, one item for each policy."""
    listed = list(counts)
    policies = [f'"{each.policy.name}";q={each.policy.quota};w={each.policy.window_seconds}' for each in listed]
    states = [
        f'"{each.policy.name}";r={max(each.policy.quota - each.used, 0)};t={each.resets_in_seconds}' for each in listed
    ]
    return {"RateLimit-Policy": ", ".join(policies), "RateLimit": ", ".join(states)} if listed else {}


def refusal_headers(error: TooMany) -> dict[str, str]:
    """What goes with a 429."""
    return {"Retry-After": str(error.count.resets_in_seconds), **headers_of([error.count])}


def client_address(request: HttpRequest) -> str:
    """Whose requests count together: an IPv4 address, or the network of an IPv6 one.

    Behind a proxy it is what the proxy saw: the last entry of X-Forwarded-For, since a client may write the others.
    """
    text = request.META.get("REMOTE_ADDR", "")
    if settings.BEHIND_PROXY:
        text = request.headers.get("X-Forwarded-For", text).rpartition(",")[2].strip()
    try:
        address = ipaddress.ip_address(text)
    except ValueError:
        return "unknown"
    if isinstance(address, ipaddress.IPv6Address) and address.ipv4_mapped is None:
        return str(ipaddress.ip_network((address, _IPV6_SITE_BITS), strict=False))
    return str(getattr(address, "ipv4_mapped", None) or address)
