"""Secrets from files of their own: a password, a person's URLs. What is read here is never shown.

A file that others may read is not refused, since the service works with it; it is told as a warning.
"""

from __future__ import annotations

import stat
from pathlib import Path

from collector.settings.mistakes import Mistakes
from collector.settings.mistakes import Path as KeyPath

_OTHERS = stat.S_IRGRP | stat.S_IROTH


class SecretFiles:
    """Reads files of secrets named in the configuration; names are relative to `folder`.

    `warnings` are about files that others may read, as sentences that name key, file and mend.
    """

    def __init__(self, folder: Path, mistakes: Mistakes) -> None:
        self._folder = folder
        self._mistakes = mistakes
        self.warnings: list[str] = []

    def password(self, key: KeyPath, name: str) -> str | None:
        """The one line of a password file."""
        text = self._text(key, name)
        if text is None:
            return None
        password = text.rstrip("\r\n")
        if not password or "\n" in password:
            self._mistakes.add(key, "the file must hold the password on one line and nothing else")
            return None
        return password

    def urls(self, key: KeyPath, name: str) -> tuple[str, ...]:
        """The lines of a file of URLs, without blank lines and comments."""
        text = self._text(key, name)
        if text is None:
            return ()
        lines = [line.strip() for line in text.splitlines()]
        urls = tuple(line for line in lines if line and not line.startswith("#"))
        if not urls:
            self._mistakes.add(key, "the file holds no URL: write one apprise URL a line")
        return urls

    def _text(self, key: KeyPath, name: str) -> str | None:
        if "://" in name:
            self._mistakes.add(key, "the name of a file is needed here; write the URL into that file")
            return None
        path = self._folder / Path(name).expanduser()
        try:
            text = path.read_text(encoding="utf-8")
            mode = path.stat().st_mode
        except (OSError, ValueError, RuntimeError) as error:
            reason = (
                error.strerror if isinstance(error, OSError) and error.strerror else "cannot be read as text"
            )
            self._mistakes.add(
                key, f"the file named here cannot be read ({reason}); names are relative to {self._folder}"
            )
            return None
        if mode & _OTHERS:
            where = ".".join(str(part) for part in key)
            self.warnings.append(
                f"{where}: others on this machine can read {path}; `chmod 600 {path}` mends it"
            )
        return text
