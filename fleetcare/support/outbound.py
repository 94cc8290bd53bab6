"""Calling an address that a stranger chose, without being led anywhere inside (OWASP API7: server-side forgery).

The name is resolved once, every address it stands for is checked, and the connection goes to the checked address:
what the name says a moment later does not matter. Redirects are answers like any other. Time and size are bounded.
"""

import contextlib
import http.client
import ipaddress
import socket
import ssl
import threading
from collections.abc import Mapping
from concurrent.futures import ThreadPoolExecutor
from concurrent.futures import TimeoutError as TooSlow
from dataclasses import dataclass
from functools import lru_cache
from urllib.parse import urlsplit

SECONDS = 10.0
"""From the first byte of the connection to the last of the answer."""
RESOLVE_SECONDS = 5.0
MOST_BYTES = 64 * 1024
_NAT64 = ipaddress.ip_network("64:ff9b::/96")
_PORTS = {"https": 443, "http": 80}

Address = ipaddress.IPv4Address | ipaddress.IPv6Address


class Refused(Exception):
    """The address must not be called. Remedy: a public https address."""


class Unreachable(Exception):
    """Nobody answered, or not in time. Remedy: try again later."""


@dataclass(frozen=True, slots=True)
class Reply:
    """What came back: the status and the first 64 kB."""

    status: int
    body: bytes


def post(url: str, body: bytes, headers: Mapping[str, str], *, allow_local: bool = False) -> Reply:
    """Posts and returns the reply, whatever its status.

    `allow_local` permits http and addresses of this machine and its network; for tests and closed installations.
    Raises Refused where the address must not be called, Unreachable where no whole answer came within 10 seconds.
    """
    parts = urlsplit(url)
    host, port = checked_parts(url, allow_local=allow_local)
    address = _checked_address(host, port, allow_local=allow_local)
    target = (parts.path or "/") + (f"?{parts.query}" if parts.query else "")
    line = http.client.HTTPConnection(host, port)
    # Each read has its own timeout; only this bounds an answer that drips.
    sockets: list[socket.socket] = []
    watch = threading.Timer(SECONDS, _cut, [sockets])
    watch.daemon = True
    watch.start()
    try:
        # Connected already, so that nothing looks the name up a second time.
        line.sock = socket.create_connection((address, port), SECONDS)
        sockets.append(line.sock)
        if parts.scheme == "https":
            line.sock = _tls().wrap_socket(line.sock, server_hostname=host)
            sockets.append(line.sock)
        line.request("POST", target, body, {**headers, "Host": parts.netloc})
        response = line.getresponse()
        return Reply(response.status, response.read(MOST_BYTES))
    except (OSError, http.client.HTTPException, ValueError) as error:
        raise Unreachable(f"{type(error).__name__}: {error}"[:200]) from error
    finally:
        watch.cancel()
        line.close()


def checked_parts(url: str, *, allow_local: bool = False) -> tuple[str, int]:
    """Host and port of an address that may be called as far as its text tells; raises Refused."""
    try:
        parts = urlsplit(url)
        host, port = parts.hostname or "", parts.port or _PORTS.get(parts.scheme, 0)
    except ValueError as error:
        raise Refused("This is no address of a web server.") from error
    if parts.scheme != "https" and not (allow_local and parts.scheme == "http"):
        raise Refused("Only https addresses are called.")
    if not host or parts.username is not None or parts.password is not None or any(c <= " " for c in url):
        raise Refused("Give a plain address: https, a host, a path, no name and password in it.")
    literal = _literal(host)
    if literal is not None and not allow_local and not is_public(literal):
        raise Refused("Only public addresses are called.")
    return host, port


def _literal(host: str) -> Address | None:
    try:
        return ipaddress.ip_address(host)
    except ValueError:
        return None


def is_public(address: Address) -> bool:
    """Whether an address is of the open internet; one that wraps another is judged by what it wraps."""
    if isinstance(address, ipaddress.IPv6Address):
        inner = address.ipv4_mapped or address.sixtofour or (address.teredo or (None, None))[1]
        if address in _NAT64 or address.packed[:12] == bytes(12):
            inner = ipaddress.IPv4Address(address.packed[12:])
        if inner is not None:
            return is_public(inner)
    return address.is_global and not address.is_multicast and not address.is_reserved


@lru_cache(maxsize=1)
def _resolvers() -> ThreadPoolExecutor:
    return ThreadPoolExecutor(4, thread_name_prefix="resolve")


def _checked_address(host: str, port: int, *, allow_local: bool) -> str:
    """One address of the host. Refused if any of them is not public: a name that points inside is a trap."""
    lookup = _resolvers().submit(socket.getaddrinfo, host, port, type=socket.SOCK_STREAM)
    try:
        found = lookup.result(RESOLVE_SECONDS)
    except (OSError, TooSlow, UnicodeError) as error:
        raise Unreachable(f"The name {host} was not found.") from error
    addresses = [str(entry[4][0]) for entry in found]
    public = all(is_public(ipaddress.ip_address(address.partition("%")[0])) for address in addresses)
    if not addresses or not (public or allow_local):
        raise Refused("Only public addresses are called.")
    return addresses[0]


@lru_cache(maxsize=1)
def _tls() -> ssl.SSLContext:
    return ssl.create_default_context()


def _cut(sockets: list[socket.socket]) -> None:
    """Ends what is going on, so that whoever reads or writes fails at once."""
    for sock in sockets:
        with contextlib.suppress(OSError):
            sock.shutdown(socket.SHUT_RDWR)
