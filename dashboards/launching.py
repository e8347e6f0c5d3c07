"""Start the dashboard on this machine."""

from __future__ import annotations

import os
import sys
import threading
import webbrowser
from collections.abc import Sequence
from pathlib import Path
from time import monotonic, sleep
from urllib.error import URLError
from urllib.request import urlopen

from dashboards import ahead
from dashboards.gate.network import policy_for
from dashboards.gate.policy import HEALTH, Policy
from dashboards.server import EVERY_ADDRESS, PORT, SOURCE_VARIABLE, THIS_MACHINE, arguments
from insights.history.book.address import is_address

SIGNING_IN = "Whoever opens it must sign in. It answers to the names {names} and to no other."
IN_THE_CLEAR = (
    "The line to the browsers is not encrypted: on a network you share with strangers, put a proxy "
    "that speaks HTTPS in front and start with --behind-tls."
)
_WAIT_SECONDS = 30


def launch(
    source: str | None = None,
    address: str = THIS_MACHINE[0],
    port: int = PORT,
    *,
    names: Sequence[str] = (),
    behind_tls: bool = False,
    sign_in: bool = False,
    headless: bool = False,
) -> None:
    """Serve the dashboard until it is stopped with Ctrl+C.

    Parameters
    ----------
    source
        A job history or a job book; None opens the invented workshop.
    address
        Where to listen. The default is reached from this machine only.
    port
        Where to listen.
    names, behind_tls, sign_in
        As in :func:`dashboards.gate.network.policy_for`.
    headless
        Open no browser window.

    Raises
    ------
    RequestError
        Others would be let in without signing in.
    BookError
        The book can't be opened.

    Notes
    -----
    Streamlit reads the rest of its settings from ``.streamlit/config.toml`` beside the app;
    what concerns privacy is given here as well, so that no setting of the user's own undoes it.
    """
    policy = policy_for(source, address, names, behind_tls=behind_tls, sign_in=sign_in)
    # Streamlit takes a third of a second to import; only this call should pay for it.
    from streamlit.web import cli

    os.environ.pop(SOURCE_VARIABLE, None)
    if source is not None:
        os.environ[SOURCE_VARIABLE] = source if is_address(source) else str(Path(source).resolve())
    policy.to_environment()
    shown = f"{THIS_MACHINE[1] if address in EVERY_ADDRESS else address}:{port}"
    _tell(f"http://{shown}", policy)
    ahead.begin()
    if not headless:
        threading.Thread(target=_show, args=(f"http://{shown}",), daemon=True).start()
    words = arguments(address, port, headless=headless, hosts=policy.hosts)
    cli.main(words, standalone_mode=False)


def _tell(shown: str, policy: Policy) -> None:
    print(f"The dashboard is at {shown} (Ctrl+C stops it).", flush=True)
    if policy.sign_in:
        print(SIGNING_IN.format(names=", ".join(policy.hosts)), file=sys.stderr)
    if policy.in_the_clear:
        print(IN_THE_CLEAR, file=sys.stderr)


def _show(shown: str) -> None:
    """Open a browser window as soon as the server answers."""
    until = monotonic() + _WAIT_SECONDS
    while monotonic() < until:
        try:
            urlopen(f"{shown}{HEALTH}", timeout=1).close()
        except (URLError, TimeoutError):
            sleep(0.1)
        else:
            webbrowser.open(shown)
            return
