"""A PostgreSQL server of the tests' own, in a folder of its own, gone when they end."""

from __future__ import annotations

import os
import pwd
import shutil
import subprocess
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

USER = "staysfixed"
INSTALL = (
    "PostgreSQL's server programs are not installed (Debian: apt-get install postgresql), so a "
    "book on a server is not tested"
)


def programs() -> Path | None:
    """Find the folder of the server's programs, the newest version first."""
    found = shutil.which("initdb")
    if found:
        return Path(found).resolve().parent
    folders = Path("/usr/lib/postgresql").glob("*/bin/initdb")
    newest = max(folders, key=lambda path: float(path.parts[-3]), default=None)
    return None if newest is None else newest.parent


@contextmanager
def running() -> Iterator[str]:
    """Run a server, reached through a socket in its own folder; gives the socket's folder."""
    folder = Path(tempfile.mkdtemp(prefix="staysfixed-pg-"))
    if os.geteuid() == 0:
        shutil.chown(folder, _user())
    try:
        _run(folder, "initdb", "-U", USER, "-A", "trust", "-E", "UTF8", "--locale=C", "--no-sync")
        _start(folder)
        try:
            yield str(folder)
        finally:
            _run(folder, "pg_ctl", "stop", "-m", "immediate")
    finally:
        shutil.rmtree(folder, ignore_errors=True)


def stop_and_start(folder: str) -> None:
    """Stop the server without a word to anyone it serves, and start it again."""
    _run(Path(folder), "pg_ctl", "stop", "-m", "immediate")
    _start(Path(folder))


def _start(folder: Path) -> None:
    # It may fall, the machine under it does not: it need not wait for the disk.
    settings = f"-c listen_addresses='' -c fsync=off -k {folder}"
    _run(folder, "pg_ctl", "start", "-w", "-o", settings, "-l", str(folder / "log"))


def _run(folder: Path, program: str, *words: str) -> None:
    found = programs()
    assert found is not None, INSTALL
    command = [str(found / program), "-D", str(folder / "data"), *words]
    done = subprocess.run(command, user=_user(), cwd=folder, capture_output=True, text=True)
    assert done.returncode == 0, f"{program}: {done.stdout}{done.stderr}"


def address(folder: str, name: str = "postgres") -> str:
    """Write the address of a database on the server."""
    return f"postgresql://{USER}@/{name}?host={folder}"


def _user() -> str | None:
    """Choose whom to run it as: the server refuses to run as root."""
    if os.geteuid() != 0:
        return None
    names = {entry.pw_name for entry in pwd.getpwall()}
    return "postgres" if "postgres" in names else "nobody"
