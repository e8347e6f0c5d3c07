"""What every answer tells the browser: load nothing from elsewhere, be in no frame, and so on."""

from __future__ import annotations

import base64
import hashlib
from collections.abc import Iterable

_EVERYWHERE = {
    "x-content-type-options": "nosniff",
    "x-frame-options": "DENY",
    # Not "no-referrer": browsers would then send forms with the origin "null".
    "referrer-policy": "same-origin",
    "cross-origin-opener-policy": "same-origin",
    "cross-origin-resource-policy": "same-origin",
    "permissions-policy": "camera=(), geolocation=(), microphone=(), payment=(), usb=()",
}
_CONTENT = {
    "default-src": "'self'",
    # The library sets styles from its scripts.
    "style-src": "'self' 'unsafe-inline'",
    "img-src": "'self' data: blob:",
    "font-src": "'self' data:",
    "worker-src": "'self' blob:",
    "object-src": "'none'",
    "base-uri": "'none'",
    "form-action": "'self'",
    "frame-ancestors": "'none'",
}
FORM_CONTENT = (
    "default-src 'none'; style-src 'unsafe-inline'; form-action 'self'; base-uri 'none'; "
    "frame-ancestors 'none'"
)
"""For a page of our own, which needs nothing but its style."""

Header = tuple[bytes, bytes]


def page_content(scripts: Iterable[str] | None) -> str:
    """Write the content policy of the dashboard's pages.

    Parameters
    ----------
    scripts
        The scripts that pages carry in their text, each between its tags: only these run. None:
        any does, where nobody signs in and a page remembers in the browser who is at this screen.
    """
    known = ["'unsafe-inline'"] if scripts is None else [_fingerprint(text) for text in scripts]
    rules = {**_CONTENT, "script-src": " ".join(["'self'", *known])}
    return "; ".join(f"{name} {value}" for name, value in rules.items())


def _fingerprint(script: str) -> str:
    """Name a script as the browser knows it: by what stands between its tags (CSP, level 2)."""
    inside = script.partition("<script>")[2].rpartition("</script>")[0]
    digest = base64.b64encode(hashlib.sha256(inside.encode()).digest()).decode()
    return f"'sha256-{digest}'"


def with_safety(headers: Iterable[Header], content: str, *, keep_nothing: bool) -> list[Header]:
    """Put the safety headers in place of whatever stood there.

    Parameters
    ----------
    headers
        As the answer has them.
    content
        The content policy, where the answer has none.
    keep_nothing
        Whether the browser may keep no copy on its disk.
    """
    ours = {**_EVERYWHERE, "content-security-policy": content}
    if keep_nothing:
        ours["cache-control"] = "no-store"
    given = [(name, value) for name, value in headers if name.lower().decode("latin-1") not in ours]
    return given + [(name.encode(), value.encode()) for name, value in ours.items()]
