"""Which of the names that a source wants is meant by a full name in a payload.

SenML names and Homie paths are long and begin with the board: "urn:dev:ow:10e2073a01080063:voltage".
A source may ask for the whole name or for its end after / or : alone.
"""

from __future__ import annotations

from collections.abc import Iterable

from collector.payloads.shown import shown

# Boards have tens of names; one that makes up new names must not fill the memory.
_MOST_REMEMBERED = 1024
_LONGEST_REMEMBERED = 256


class Names:
    """The names that a source wants.

    Parameters
    ----------
    wanted
        Whole names, or ends of names that begin after / or :. The longest that fits is meant.
    takes_any
        Whether a name that is not wanted stands for the source's one series, under the name "".
    """

    def __init__(self, wanted: Iterable[str], *, takes_any: bool) -> None:
        self._wanted = sorted(wanted, key=len, reverse=True)
        self._takes_any = takes_any
        self._found: dict[str, str | None] = {}

    def find(self, full: str) -> str | None:
        """Return the wanted name that is meant, "" for the one series, or None if it is not wanted."""
        try:
            return self._found[full]
        except KeyError:
            found = self._search(full)
        if len(full) <= _LONGEST_REMEMBERED:
            if len(self._found) >= _MOST_REMEMBERED:
                self._found.clear()
            self._found[full] = found
        return found

    def _search(self, full: str) -> str | None:
        for name in self._wanted:
            if full == name or (full.endswith(name) and full[-len(name) - 1] in "/:"):
                return name
        return "" if self._takes_any else None

    def missing(self, there: Iterable[str]) -> str:
        """Return the reason for a payload in which nothing is wanted."""
        return nothing_wanted(self._wanted, there)


def nothing_wanted(wanted: Iterable[str], there: Iterable[str]) -> str:
    """Return the reason for a payload that has some names, none of which is wanted."""
    return f"none of {_few(wanted)} is in it; it has {_few(there)}: correct values or the board"


def two_names(wanted: str, first: str, second: str) -> str:
    """Return the reason for a payload in which two things answer to one name."""
    asked = f'"{shown(wanted)}"' if wanted else "the one series of this source"
    return f"both {shown(first)} and {shown(second)} answer to {asked}: tell them apart in values"


def _few(names: Iterable[str], most: int = 6) -> str:
    some = [shown(name) for name in names]
    if not some:
        return "nothing"
    return ", ".join(some[:most]) + (f" and {len(some) - most} more" if len(some) > most else "")
