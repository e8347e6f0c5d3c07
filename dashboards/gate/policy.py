"""What the gate lets through, decided when the server starts."""

from __future__ import annotations

import json
import os
from collections.abc import Iterable, Mapping
from dataclasses import asdict, dataclass
from urllib.parse import urlsplit

from dashboards.server import THIS_MACHINE

VARIABLE = "STAYSFIXED_GATE"
COOKIE = "staysfixed_session"
FORWARDED = (b"forwarded", b"x-forwarded-for", b"x-forwarded-host", b"x-forwarded-proto")
CLOSED = (
    "/_stcore/metrics",
    "/_stcore/agent",
    "/_stcore/script-health-check",
    "/auth",
    "/oauth2callback",
)
"""Paths of the library that this program has no use for."""

HEALTH = "/_stcore/health"
SIGN_IN = "/sign-in"
SIGN_OUT = "/sign-out"
_SAFE_METHODS = ("GET", "HEAD")


@dataclass(frozen=True)
class Policy:
    """What the gate lets through.

    Parameters
    ----------
    book
        The book that knows who may sign in; None: nobody signs in, this machine only.
    hosts
        The names under which browsers may ask for this server. A foreign page can point a name
        of its own at this address; it can't make the browser say one of these.
    behind_tls
        Whether a proxy before this server speaks HTTPS with the browsers.
    """

    book: str | None = None
    hosts: tuple[str, ...] = THIS_MACHINE
    behind_tls: bool = False

    @property
    def sign_in(self) -> bool:
        """Whether everything behind the gate needs a session."""
        return self.book is not None

    @property
    def cookie(self) -> str:
        """The name of the session's cookie; browsers keep the prefix to what it promises."""
        return f"__Host-{COOKIE}" if self.behind_tls else COOKIE

    @property
    def scheme(self) -> str:
        """What stands before the browsers' address."""
        return "https" if self.behind_tls else "http"

    @property
    def in_the_clear(self) -> bool:
        """Whether what browsers send crosses a network unencrypted."""
        return not self.behind_tls and any(host not in THIS_MACHINE for host in self.hosts)

    def refusal(self, scope: Mapping[str, object]) -> str | None:
        """Say why a request is refused whoever sent it; None where it is not.

        Parameters
        ----------
        scope
            As ASGI describes a request.
        """
        headers = headers_of(scope)
        host = _only(headers, b"host")
        if host is None or _name_of(host) not in self.hosts:
            return "This name is not one this server answers to."
        if not self.behind_tls and any(name in headers for name in FORWARDED):
            # A proxy on this machine would make everyone on the network look like this machine.
            return "This came through a proxy. Start with --behind-tls to allow one."
        safe = scope["type"] == "http" and scope["method"] in _SAFE_METHODS
        if not safe and _only(headers, b"origin") != f"{self.scheme}://{host}":
            return "This was sent by a page of another site."
        return None

    def is_closed(self, path: str) -> bool:
        """Tell whether nobody gets to a path."""
        return any(path == closed or path.startswith(f"{closed}/") for closed in CLOSED)

    def to_environment(self) -> None:
        """Hand it over to the server's process."""
        os.environ[VARIABLE] = json.dumps(asdict(self))

    @classmethod
    def from_environment(cls) -> Policy:
        """Take it over; this machine only, where none was handed over."""
        given = json.loads(os.environ.get(VARIABLE, "{}"))
        if "hosts" in given:
            given["hosts"] = tuple(given["hosts"])
        return cls(**given)


def headers_of(scope: Mapping[str, object]) -> dict[bytes, list[str]]:
    """Gather a request's headers, by name in small letters."""
    found: dict[bytes, list[str]] = {}
    given = scope["headers"]
    assert isinstance(given, Iterable)
    for name, value in given:
        found.setdefault(name.lower(), []).append(value.decode("latin-1"))
    return found


def token_in(headers: Mapping[bytes, list[str]], cookie: str) -> str | None:
    """Read the session's token.

    Returns
    -------
    str or None
        None where there is none, and where there are several: then someone else may have put
        one of them there.
    """
    pieces = [piece for line in headers.get(b"cookie", []) for piece in line.split(";")]
    pairs = [piece.strip().partition("=") for piece in pieces]
    tokens = {value for name, _, value in pairs if name == cookie}
    return tokens.pop() if len(tokens) == 1 else None


def _only(headers: Mapping[bytes, list[str]], name: bytes) -> str | None:
    values = headers.get(name, [])
    return values[0] if len(values) == 1 else None


def _name_of(host: str) -> str | None:
    """Take the name out of a Host header; None where it is none."""
    try:
        parts = urlsplit(f"//{host}")
        _ = parts.port  # also checks that it is a number
    except ValueError:
        return None
    if parts.netloc != host or parts.username is not None:
        return None
    return None if parts.hostname is None else parts.hostname.rstrip(".")
