"""Where the dashboard listens and what it is started on."""

from __future__ import annotations

from pathlib import Path

APP = Path(__file__).with_name("app.py")
SOURCE_VARIABLE = "STAYSFIXED_SOURCE"
PORT = 8501
THIS_MACHINE = ("127.0.0.1", "localhost")
EVERY_ADDRESS = ("0.0.0.0", "::")


def arguments(address: str, port: int, *, headless: bool) -> list[str]:
    """Write the command line that Streamlit gets.

    Parameters
    ----------
    address, port, headless
        As in :func:`dashboards.launching.launch`.

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
    hosts = ("*",) if everywhere else dict.fromkeys((*THIS_MACHINE, address))
    return [
        "run",
        str(APP),
        *(f"--{name}={value}" for name, value in options.items()),
        *(f"--server.allowedHosts={host}" for host in hosts),
    ]
