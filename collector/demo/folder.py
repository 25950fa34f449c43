"""The demo's own folder: claimed for one run, emptied of the last one, never somebody else's."""

from __future__ import annotations

import fcntl
import shutil
from pathlib import Path
from types import TracebackType
from typing import Self

from collector.errors import ConfigError

# Its presence says that a folder is the demo's and may be emptied.
_MARKER = "brinebell-demo.lock"


class DemoFolder:
    """A folder that is this run's alone, from `with` to the end of it; what is in it stays afterwards.

    Raises
    ------
    ConfigError
        If another demo runs in it, or if it holds things that no demo put there.
    """

    def __init__(self, path: Path) -> None:
        self.path = path.absolute()

    def __enter__(self) -> Self:
        marker = self.path / _MARKER
        if self.path.exists() and not self.path.is_dir():
            raise ConfigError(f"{self.path} is a file: give --folder a folder that is new or empty")
        if self.path.is_dir() and any(self.path.iterdir()) and not marker.exists():
            raise ConfigError(
                f"{self.path} is not empty and no demo made it: give --folder a folder that is new or empty"
            )
        self.path.mkdir(parents=True, exist_ok=True)
        self._claim = marker.open("wb")
        try:
            fcntl.lockf(self._claim, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except OSError as error:
            self._claim.close()
            raise ConfigError(
                f"another demo is running in {self.path}: stop it, or give --folder another"
            ) from error
        for entry in self.path.iterdir():
            if entry == marker:
                continue
            if entry.is_dir() and not entry.is_symlink():
                shutil.rmtree(entry)
            else:
                entry.unlink()
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._claim.close()

    def write_secret(self, name: str, text: str) -> Path:
        """Write a file that only its owner can read."""
        path = self.path / name
        path.touch(mode=0o600)
        path.write_text(text, encoding="utf-8")
        return path
