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
    bin_folder = programs()
    assert bin_folder is not None, INSTALL
    folder = Path(tempfile.mkdtemp(prefix="staysfixed-pg-"))
    user = _not_root(folder)

    def run(program: str, *words: str) -> None:
        command = [str(bin_folder / program), "-D", str(folder / "data"), *words]
        done = subprocess.run(command, user=user, cwd=folder, capture_output=True, text=True)
        assert done.returncode == 0, f"{program}: {done.stdout}{done.stderr}"

    try:
        run("initdb", "-U", USER, "-A", "trust", "-E", "UTF8", "--locale=C", "--no-sync")
        # Nobody else's crash is tested with it, so it need not wait for the disk.
        settings = f"-c listen_addresses='' -c fsync=off -k {folder}"
        run("pg_ctl", "start", "-w", "-o", settings, "-l", str(folder / "log"))
        try:
            yield str(folder)
        finally:
            run("pg_ctl", "stop", "-m", "immediate")
    finally:
        shutil.rmtree(folder, ignore_errors=True)


def address(folder: str, name: str = "postgres") -> str:
    """Write the address of a database on the server."""
    return f"postgresql://{USER}@/{name}?host={folder}"


def _not_root(folder: Path) -> str | None:
    """Choose whom to run it as: the server refuses to run as root."""
    if os.geteuid() != 0:
        return None
    names = {entry.pw_name for entry in pwd.getpwall()}
    user = "postgres" if "postgres" in names else "nobody"
    shutil.chown(folder, user)
    return user
