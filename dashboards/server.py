"""Where the dashboard listens and what it is started on."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

APP = Path(__file__).with_name("app.py")
SERVED = Path(__file__).with_name("served.py")
SOURCE_VARIABLE = "STAYSFIXED_SOURCE"
PORT = 8501
THIS_MACHINE = ("127.0.0.1", "localhost")
EVERY_ADDRESS = ("0.0.0.0", "::")


def arguments(
    address: str, port: int, *, headless: bool, hosts: Sequence[str] = THIS_MACHINE
) -> list[str]:
    """Write the command line that Streamlit gets.

    Parameters
    ----------
    address, port, headless
        As in :func:`dashboards.launching.launch`.
    hosts
        The names under which browsers may ask for it.

    Returns
    -------
    list of str
    """
    everywhere = address in EVERY_ADDRESS
    options = {
        "server.address": address,
        "server.port": port,
        "server.headless": str(headless).lower(),
        "browser.gatherUsageStats": "false",
        # Told its own name, Streamlit asks no outside service for it.
        "browser.serverAddress": THIS_MACHINE[1] if everywhere else address,
    }
    return [
        "run",
        str(SERVED),
        *(f"--{name}={value}" for name, value in options.items()),
        *(f"--server.allowedHosts={host}" for host in hosts),
    ]
