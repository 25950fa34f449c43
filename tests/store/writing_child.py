"""A process that writes commits until it is killed, or until the disk is full: the tests' victim.

python -m tests.store.writing_child FILE            commits without end, prints each number when done
python -m tests.store.writing_child FILE BYTES      the same with a limit on file sizes; after the first
                                                    refusal lifts the limit and commits that batch again
"""

from __future__ import annotations

import random
import resource
import sys
from pathlib import Path

from collector.errors import StoreError
from collector.store import (
    Arrival,
    BoardState,
    Commit,
    IncidentRecord,
    NewMessage,
    Rejection,
    Row,
    Store,
    StoreReader,
)
from rules import AlarmKey, AlarmRaised, Evidence, Flag, FlagRevised, Incident, Priority
from tests.store.commits import SECOND, SERIES, START_US, row

ROWS = 40
COLD = AlarmKey("reef", "temperature", "under_limit")


def rows_of(number: int) -> list[Row]:
    """Rows of commit `number`: new ones, late ones, one duplicate and one conflict with the commit before."""
    chance = random.Random(number)
    rows = [row(k % 3, number * 60 + k, chance.gauss(25, 0.2), payload=b"%d" % number) for k in range(ROWS)]
    rows.append(row(0, number * 60 - 86_400.5, chance.gauss(25, 0.2)))
    if number > 1:
        before = rows_of_before(number)
        rows.append(before)
        rows.append((*before[:2], before[2] + 1.0, *before[3:]))
    return rows


def rows_of_before(number: int) -> Row:
    """The row of the commit before that is sent again."""
    chance = random.Random(number - 1)
    return row(0, (number - 1) * 60, chance.gauss(25, 0.2), payload=b"%d" % (number - 1))


def batch_of(number: int) -> Commit:
    """Commit `number`, in which every table takes part."""
    at_us = START_US + (number * 60 + 59) * SECOND
    evidence = Evidence(value=float(number))
    incident = Incident(
        number, "reef", "under_limit", ("temperature",), Priority.HIGH, at_us, at_us, None, evidence, (COLD,)
    )
    return Commit(
        at_us,
        at_us if number % 5 else None,
        rows=rows_of(number),
        revised=[FlagRevised(1, START_US + (number * 60 + 1) * SECOND, int(Flag.FAIL), 0x400)],
        rejections=[Rejection("reef/broken", 1, at_us, at_us, "not a number", b"?")],
        arrivals=[Arrival(number % 20, "reef/t", b"%08d" % number, at_us)],
        boards=[BoardState("reef", "north", bool(number % 2), at_us)],
        alarms=[AlarmRaised(at_us, COLD, Priority.HIGH, at_us, concerns=("temperature",), evidence=evidence)],
        incidents=[IncidentRecord(incident, str(number), "body")],
        messages=[
            NewMessage(number, "ring", "sam", "first", at_us, at_us, str(number), "body", Priority.HIGH)
        ],
    )


def say(line: str) -> None:
    """Report to the parent; what is not flushed is not reported."""
    sys.stdout.write(line + "\n")
    sys.stdout.flush()


def main() -> None:
    path = Path(sys.argv[1])
    with Store(path) as store:
        store.register(SERIES)
        if len(sys.argv) > 2:
            resource.setrlimit(resource.RLIMIT_FSIZE, (int(sys.argv[2]), resource.RLIM_INFINITY))
        with StoreReader(path) as reader:
            number = reader.last_incident_number
        while True:
            number += 1
            try:
                done = store.commit(batch_of(number))
            except StoreError as error:
                say(f"refused {number} {error}")
                resource.setrlimit(resource.RLIMIT_FSIZE, (resource.RLIM_INFINITY, resource.RLIM_INFINITY))
                done = store.commit(batch_of(number))
                say(f"done {done.number}")
                return
            say(f"done {done.number}")


if __name__ == "__main__":
    main()
