"""Files of planned works, for `brinebell work import` and `export` (RFC 5545)."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC, datetime
from pathlib import Path
from zoneinfo import ZoneInfo

from collector.calendars.reading import read_works
from collector.calendars.writing import write_works
from collector.configuration import Configuration
from collector.errors import ConfigError
from collector.recurrence import RecurringWork
from collector.requests import ImportWorks
from collector.store import StoreReader
from rules import HOUR_US, MICROSECONDS, PlannedWork


def read_file(name: str | None, tank: str, configuration: Configuration) -> tuple[ImportWorks, Sequence[str]]:
    """Read a file; also what of it could not be read, a line each with file and line.

    Raises
    ------
    ConfigError
        If there is no such file, it is none, or nothing in it can be read.
    """
    if name is None:
        raise ConfigError("say which file: brinebell work import plan.ics")
    path = Path(name)
    try:
        text = path.read_bytes().decode("utf-8-sig")
    except OSError as error:
        raise ConfigError(f"{path} cannot be read: {error.strerror}") from error
    except UnicodeDecodeError as error:
        raise ConfigError(f"{path} is not UTF-8 text (RFC 5545, 3.1.4): byte {error.start}") from error
    try:
        found = read_works(text, tank, configuration.tank(tank).rules.time_zone)
    except ConfigError as error:
        raise ConfigError(f"{path}: {error}") from error
    problems = [f"{path}:{line}: {reason}" for line, reason in found.problems]
    if problems and not found.works:
        told = "\n".join(problems)
        raise ConfigError(f"{told}\nNothing in {path} can be read: what was imported before stays")
    return ImportWorks(tank, found.works), problems


def write_file(name: str | None, tank: str, configuration: Configuration, now_us: int) -> str:
    """Write the plan of a tank: what recurs, what was imported, and what was announced and is not over.

    Returns
    -------
    str
        What to print: what was written, or without a name the file itself.

    Raises
    ------
    ConfigError
        If it cannot be written.
    """
    with StoreReader(configuration.store.path) as reader:
        known = [work for work in reader.known_works() if work.tank == tank and work.to_us > now_us]
        standing = [one for one in (*configuration.works, *reader.imported_works()) if one.tank == tank]
    # Recurring works are planned a day ahead: those are in their rules.
    ruled = {work for one in standing for work in one.between(now_us - 48 * HOUR_US, now_us + 48 * HOUR_US)}
    zone = configuration.tank(tank).rules.time_zone
    works = [*standing, *(_once(work, zone) for work in known if work not in ruled)]
    content = write_works(works, datetime.fromtimestamp(now_us // MICROSECONDS, UTC))
    if name is None:
        return content.decode().replace("\r\n", "\n").rstrip("\n")
    try:
        Path(name).write_bytes(content)
    except OSError as error:
        raise ConfigError(f"{name} cannot be written: {error.strerror}") from error
    count = "1 work is" if len(works) == 1 else f"{len(works)} works are"
    return f"{count} written to {name}."


def _once(work: PlannedWork, zone: str) -> RecurringWork:
    begin = datetime.fromtimestamp(work.from_us // MICROSECONDS, UTC).astimezone(ZoneInfo(zone))
    return RecurringWork(
        work.tank, work.kind, zone, begin.replace(tzinfo=None, fold=0), work.to_us - work.from_us, ""
    )
