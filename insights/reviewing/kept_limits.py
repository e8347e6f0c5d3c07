"""Limits of charts worked out before, kept in the user's own folder."""

from __future__ import annotations

import json
from collections.abc import Iterator, MutableMapping
from pathlib import Path

from insights.history.declared import home_folder

NAME = "limits.json"
MOST = 2000


class KeptLimits(MutableMapping[str, float]):
    """Limits by content, read from a file and written back by :meth:`save`.

    A file that can't be read counts as empty: every limit in it can be worked out again.

    Parameters
    ----------
    path
        The file; by default ``limits.json`` in the user's folder.
    """

    def __init__(self, path: Path | None = None) -> None:
        self.path = home_folder() / NAME if path is None else path
        self._limits = _read(self.path)
        self._new = False

    def __getitem__(self, name: str) -> float:
        return self._limits[name]

    def __setitem__(self, name: str, value: float) -> None:
        self._limits[name] = value
        self._new = True

    def __delitem__(self, name: str) -> None:
        del self._limits[name]
        self._new = True

    def __iter__(self) -> Iterator[str]:
        return iter(self._limits)

    def __len__(self) -> int:
        return len(self._limits)

    def save(self) -> str:
        """Write what is new, the latest only; why that was not possible, or nothing."""
        if not self._new:
            return ""
        latest = dict(list(self._limits.items())[-MOST:])
        beside = self.path.with_suffix(".part")
        try:
            self.path.parent.mkdir(parents=True, exist_ok=True)
            beside.write_text(json.dumps(latest), encoding="utf-8")
            beside.replace(self.path)
        except OSError as error:
            return (
                f"{self.path} can't be written ({error.strerror}), so limits are worked out anew "
                "each time."
            )
        self._new = False
        return ""


def _read(path: Path) -> dict[str, float]:
    try:
        found = json.loads(path.read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return {}
    if not isinstance(found, dict):
        return {}
    return {str(name): float(value) for name, value in found.items() if _is_limit(value)}


def _is_limit(value: object) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool) and value > 0
