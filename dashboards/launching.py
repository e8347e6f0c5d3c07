"""Start the dashboard on this machine."""

from __future__ import annotations

import os
import sys
from pathlib import Path

from dashboards import ahead
from dashboards.server import EVERY_ADDRESS, PORT, SOURCE_VARIABLE, THIS_MACHINE, arguments

OPEN_TO_OTHERS = (
    "Everyone who can reach {address} port {port} can now read this record: there is no login. "
    "Leave the address out to keep it on this machine."
)


def launch(
    source: str | None = None,
    address: str = THIS_MACHINE[0],
    port: int = PORT,
    *,
    headless: bool = False,
) -> None:
    """Serve the dashboard until it is stopped with Ctrl+C.

    Parameters
    ----------
    source
        A job history; None opens the invented workshop.
    address
        Where to listen. The default is reached from this machine only.
    port
        Where to listen.
    headless
        Open no browser window.

    Notes
    -----
    Streamlit reads the rest of its settings from ``.streamlit/config.toml`` beside the app;
    what concerns privacy is given here as well, so that no setting of the user's own undoes it.
    """
    # Streamlit takes a third of a second to import; only this call should pay for it.
    from streamlit.web import cli

    os.environ.pop(SOURCE_VARIABLE, None)
    if source is not None:
        os.environ[SOURCE_VARIABLE] = str(Path(source).resolve())
    shown = THIS_MACHINE[1] if address in EVERY_ADDRESS else address
    print(f"The dashboard is at http://{shown}:{port} (Ctrl+C stops it).", flush=True)
    if address not in THIS_MACHINE:
        print(OPEN_TO_OTHERS.format(address=address, port=port), file=sys.stderr)
    ahead.begin()
    cli.main(arguments(address, port, headless=headless), standalone_mode=False)
