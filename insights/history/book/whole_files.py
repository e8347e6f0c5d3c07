"""Files that are there whole or not at all."""

from __future__ import annotations

import os
import secrets
import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from insights.errors import BookError

_BESIDE = ("", "-wal", "-shm", "-journal")
"""What SQLite may leave beside a file whose making was broken off."""


@contextmanager
def whole_file(target: Path) -> Iterator[Path]:
    """Give a path to write to; once all went well, it becomes the target.

    Parameters
    ----------
    target
        A path at which there is nothing yet.

    Raises
    ------
    BookError
        There is something already, the folder is missing, or the disk refuses.
    """
    refuse_existing(target)
    if not target.resolve().parent.is_dir():
        raise BookError(f"The folder of {target} does not exist. Make it first.")
    making = target.with_name(f".{target.name}.{secrets.token_hex(4)}.part")
    try:
        with _refused(target):
            yield making
            _to_disk(making)
            _move(making, target)
            _to_disk(target.resolve().parent)
    finally:
        for suffix in _BESIDE:
            making.with_name(making.name + suffix).unlink(missing_ok=True)


@contextmanager
def whole_folder(target: Path) -> Iterator[Path]:
    """Give a folder to fill; once all went well, it becomes the target.

    Parameters
    ----------
    target
        A path at which there is nothing yet.

    Raises
    ------
    BookError
        There is something already, the folder above is missing, or the disk refuses.
    """
    refuse_existing(target)
    making = target.with_name(f".{target.name}.{secrets.token_hex(4)}.part")
    try:
        with _refused(target):
            making.mkdir()
            yield making
            making.rename(target)
    finally:
        shutil.rmtree(making, ignore_errors=True)


@contextmanager
def _refused(target: Path) -> Iterator[None]:
    """Say of what the disk refuses that nothing of it was left."""
    try:
        yield
    except OSError as error:
        raise BookError(
            f"{target} can't be written: {error.strerror or error}. Nothing was left behind; make "
            "room or choose another place."
        ) from error


def refuse_existing(target: Path) -> None:
    """Raise BookError where there is something at a path already."""
    if target.exists():
        raise BookError(f"{target} exists already and is left as it is. Choose another name.")


def _move(making: Path, target: Path) -> None:
    try:
        os.link(making, target)  # refuses where there is something by now, which a move does not
    except FileExistsError:
        refuse_existing(target)
    except OSError:  # a stick whose file system knows no links
        refuse_existing(target)
        making.rename(target)


def _to_disk(path: Path) -> None:
    handle = os.open(path, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)
