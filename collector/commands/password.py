"""`brinebell password`: make the file by which the page knows its password."""

from __future__ import annotations

import argparse
from pathlib import Path

SUMMARY = "set the password of the page: asks twice and writes a hash of it to a file"
EXAMPLE = "brinebell password page.password"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the command's arguments."""
    parser.add_argument(
        "file",
        metavar="FILE",
        nargs="?",
        default="page.password",
        help="where the hash goes, page.password by default; [page] password_file names it to the service",
    )


def run(arguments: argparse.Namespace) -> int:
    """Ask, write, and say what comes next; 1 if it was not written."""
    import sys

    from collector.passwords import hashed, what_is_wrong

    path = Path(arguments.file).expanduser()
    password = _asked()
    wrong = "the two are not the same" if password is None else what_is_wrong(password)
    if wrong is not None or password is None:
        print(f"Nothing is written: {wrong}.", file=sys.stderr)
        return 1
    try:
        _write(path, f"{hashed(password)}\n")
    except OSError as error:
        print(f"Nothing is written: {path}: {error.strerror}.", file=sys.stderr)
        return 1
    print(f"{path} holds a hash of the password. In the configuration, under [page]:")
    print(f'\n    password_file = "{path}"')
    print("\nRestart or reload the service then. Who was logged in with an old password is not any more.")
    return 0


def _asked() -> str | None:
    """The password, asked for twice at a terminal; else the one line that comes in. None: not the same."""
    import getpass
    import sys

    if not sys.stdin.isatty():
        return sys.stdin.readline().rstrip("\r\n")
    first = getpass.getpass("Password of the page: ")
    return first if getpass.getpass("The same again: ") == first else None


def _write(path: Path, text: str) -> None:
    """Beside and then to its name, readable by its owner alone; who owned an old one owns the new one."""
    import os
    from contextlib import suppress

    beside = path.with_name(f"{path.name}.{os.getpid()}")
    try:
        with os.fdopen(os.open(beside, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "w") as file:
            file.write(text)
            file.flush()
            os.fsync(file.fileno())
        with suppress(FileNotFoundError, PermissionError):
            old = path.stat()
            os.chown(beside, old.st_uid, old.st_gid)
        beside.replace(path)
    finally:
        beside.unlink(missing_ok=True)
