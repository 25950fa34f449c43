"""The tables of the store file, and how an older file becomes a current one.

`PRAGMA user_version` counts the migrations that a file has been through; each runs once, forward only,
in a transaction of its own. A new table or column is a new entry of `MIGRATIONS`: entries that have
been released are never edited.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Sequence
from contextlib import suppress

from collector.errors import StoreError
from collector.store.connection import refusal

# "Brin" in ASCII: tells our file from any other SQLite file (PRAGMA application_id).
APPLICATION_ID = 0x4272696E

# The comments go into the file with the tables: who opens it by hand reads them there.
_FIRST = """
CREATE TABLE series(
    id INTEGER PRIMARY KEY, tank TEXT NOT NULL, name TEXT NOT NULL, quantity TEXT NOT NULL,
    UNIQUE(tank, name)
) STRICT;

CREATE TABLE commits(
    no INTEGER PRIMARY KEY,
    committed_us INTEGER NOT NULL,
    engine_lag_us INTEGER -- committed_us minus engine time (fewer bytes than an instant); NULL: backlog
) STRICT;

CREATE TABLE readings(
    series INTEGER NOT NULL,
    observed_us INTEGER NOT NULL,
    value REAL, -- NULL: not measured
    flag_mark INTEGER NOT NULL, -- primary flag + 16 * mark: every column costs a byte a reading
    delay_ms INTEGER NOT NULL, -- received minus observed
    commit_no INTEGER NOT NULL,
    PRIMARY KEY(series, observed_us)
) STRICT, WITHOUT ROWID;

CREATE TABLE tests( -- of readings that did not pass throughout
    series INTEGER NOT NULL, observed_us INTEGER NOT NULL, packed INTEGER NOT NULL,
    PRIMARY KEY(series, observed_us)
) STRICT, WITHOUT ROWID;

CREATE TABLE rollups( -- quarter hours
    series INTEGER NOT NULL, slot_us INTEGER NOT NULL, low REAL NOT NULL, high REAL NOT NULL,
    total REAL, -- NULL: the sum is no number
    count INTEGER NOT NULL,
    PRIMARY KEY(series, slot_us)
) STRICT, WITHOUT ROWID;

CREATE TABLE conflicts( -- second values for a key that has one
    id INTEGER PRIMARY KEY, series INTEGER NOT NULL, observed_us INTEGER NOT NULL, value REAL,
    received_us INTEGER NOT NULL, payload BLOB NOT NULL
) STRICT;
CREATE UNIQUE INDEX conflicts_once ON conflicts(series, observed_us, ifnull(value, 'missing'));

CREATE TABLE rejected(
    source TEXT PRIMARY KEY, count INTEGER NOT NULL, first_us INTEGER NOT NULL, last_us INTEGER NOT NULL,
    reason TEXT NOT NULL, payload BLOB NOT NULL
) STRICT, WITHOUT ROWID;

CREATE TABLE arrivals( -- times given to payloads without one, until their packet id is used again
    packet_id INTEGER PRIMARY KEY, topic TEXT NOT NULL, payload_hash BLOB NOT NULL,
    observed_us INTEGER NOT NULL
) STRICT;

CREATE TABLE boards( -- changes only: the last row of a board is its state
    id INTEGER PRIMARY KEY, commit_no INTEGER NOT NULL, tank TEXT NOT NULL, name TEXT NOT NULL,
    is_online INTEGER NOT NULL, since_us INTEGER NOT NULL
) STRICT;
CREATE INDEX boards_by_name ON boards(tank, name, id);

CREATE TABLE alarm_events(
    id INTEGER PRIMARY KEY, commit_no INTEGER NOT NULL, at_us INTEGER NOT NULL,
    tank TEXT NOT NULL, series TEXT NOT NULL, cause TEXT NOT NULL,
    kind TEXT NOT NULL CHECK(kind IN ('raised', 'returned')),
    priority TEXT, first_evidence_us INTEGER, value REAL, concerns TEXT, evidence TEXT -- as JSON
) STRICT;
CREATE INDEX alarm_events_by_alarm ON alarm_events(tank, series, cause, id);
CREATE INDEX alarm_events_by_time ON alarm_events(at_us);

CREATE TABLE incidents(
    number INTEGER PRIMARY KEY, tank TEXT NOT NULL, cause TEXT NOT NULL, series TEXT NOT NULL,
    priority TEXT NOT NULL, first_evidence_us INTEGER NOT NULL, alarmed_at_us INTEGER NOT NULL,
    ended_at_us INTEGER, evidence TEXT NOT NULL, alarms TEXT NOT NULL, title TEXT NOT NULL,
    body TEXT NOT NULL
) STRICT;
CREATE INDEX incidents_open ON incidents(number) WHERE ended_at_us IS NULL;

CREATE TABLE outbox(
    id INTEGER PRIMARY KEY, incident INTEGER REFERENCES incidents(number), kind TEXT NOT NULL,
    person TEXT NOT NULL, channel TEXT NOT NULL, created_us INTEGER NOT NULL,
    not_before_us INTEGER NOT NULL, title TEXT NOT NULL, body TEXT NOT NULL, priority TEXT NOT NULL,
    state TEXT NOT NULL DEFAULT 'waiting' CHECK(state IN ('waiting', 'done', 'given_up'))
) STRICT;
CREATE INDEX outbox_waiting ON outbox(not_before_us) WHERE state = 'waiting';
CREATE INDEX outbox_by_incident ON outbox(incident);

CREATE TABLE tries(
    id INTEGER PRIMARY KEY, outbox_id INTEGER NOT NULL REFERENCES outbox(id),
    started_us INTEGER NOT NULL, ended_us INTEGER, outcome TEXT, reason TEXT
) STRICT;
CREATE INDEX tries_by_message ON tries(outbox_id);

CREATE TABLE baselines(
    id INTEGER PRIMARY KEY, series INTEGER NOT NULL REFERENCES series(id),
    applies_from_us INTEGER NOT NULL, fitted_us INTEGER NOT NULL, form TEXT NOT NULL, data TEXT NOT NULL
) STRICT;
CREATE INDEX baselines_by_series ON baselines(series, applies_from_us);

CREATE TABLE configurations(
    id INTEGER PRIMARY KEY, applies_from_us INTEGER NOT NULL, text TEXT NOT NULL, digest TEXT NOT NULL
) STRICT;

CREATE TABLE meta(key TEXT PRIMARY KEY, value TEXT NOT NULL) STRICT, WITHOUT ROWID;
"""

_PLANNED_WORK = """
CREATE TABLE planned_work(
    id INTEGER PRIMARY KEY, commit_no INTEGER NOT NULL, -- known from this commit on
    withdrawn_no INTEGER, -- and no more from this one on; NULL: still known
    tank TEXT NOT NULL, kind TEXT NOT NULL, from_us INTEGER NOT NULL, to_us INTEGER NOT NULL
) STRICT;
CREATE INDEX planned_work_by_time ON planned_work(to_us);
"""

_HEAT_MODELS = """
CREATE TABLE heat_models( -- of tanks, as baselines are of series
    id INTEGER PRIMARY KEY, tank TEXT NOT NULL,
    applies_from_us INTEGER NOT NULL, fitted_us INTEGER NOT NULL, form TEXT NOT NULL, data TEXT NOT NULL
) STRICT;
CREATE INDEX heat_models_by_tank ON heat_models(tank, applies_from_us);
"""

_REQUESTS = """
CREATE TABLE requests( -- what people ask the service for; each is done once
    id TEXT PRIMARY KEY, asked_us INTEGER NOT NULL, who TEXT NOT NULL, asked TEXT NOT NULL, -- as JSON
    commit_no INTEGER, -- with which it was done; NULL: not yet
    is_done INTEGER, answer TEXT
) STRICT;
CREATE INDEX requests_waiting ON requests(asked_us) WHERE commit_no IS NULL;
"""

_TELLING = """
CREATE TABLE alarm_life( -- each step of each alarm; the last row of an alarm is what it is now
    id INTEGER PRIMARY KEY, commit_no INTEGER NOT NULL, at_us INTEGER NOT NULL,
    tank TEXT NOT NULL, series TEXT NOT NULL, cause TEXT NOT NULL, -- no cause: the whole series
    step TEXT NOT NULL, state TEXT NOT NULL, who TEXT NOT NULL, why TEXT NOT NULL,
    life TEXT NOT NULL -- as JSON
) STRICT;
CREATE INDEX alarm_life_by_alarm ON alarm_life(tank, series, cause, id);

CREATE TABLE tellings( -- of incidents: how far it has come, and who has answered
    incident INTEGER PRIMARY KEY, state TEXT NOT NULL, who TEXT NOT NULL, at_us INTEGER, until_us INTEGER,
    data TEXT -- as JSON; NULL: its story is over
) STRICT;
CREATE INDEX tellings_open ON tellings(incident) WHERE data IS NOT NULL;

CREATE TABLE test_rings(
    person TEXT NOT NULL, rung_us INTEGER NOT NULL, answered_us INTEGER, who TEXT NOT NULL,
    missed_us INTEGER, -- when it was told that no answer had come
    PRIMARY KEY(person, rung_us)
) STRICT, WITHOUT ROWID;

ALTER TABLE outbox ADD COLUMN withdrawn_us INTEGER; -- given up because it was needed no more
"""

_DETOURS = """
CREATE TABLE failing_channels( -- those whose last try failed; gone when one arrives again
    person TEXT NOT NULL, channel TEXT NOT NULL, since_us INTEGER NOT NULL, reason TEXT NOT NULL,
    report INTEGER REFERENCES outbox(id), -- by which it was told; NULL: not yet
    PRIMARY KEY(person, channel)
) STRICT, WITHOUT ROWID;

ALTER TABLE outbox ADD COLUMN instead_of INTEGER REFERENCES outbox(id);
-- instead_of: the message that this row carries on over another channel
ALTER TABLE outbox ADD COLUMN after_try INTEGER REFERENCES tries(id);
-- after_try: the try that failed, and so sent it here
ALTER TABLE outbox ADD COLUMN moved_to INTEGER REFERENCES outbox(id);
-- moved_to: given up because that row carries it on
CREATE INDEX outbox_by_original ON outbox(instead_of) WHERE instead_of IS NOT NULL;
CREATE INDEX tries_by_time ON tries(started_us);
"""

_TICKS = """
ALTER TABLE commits ADD COLUMN tick_lag_us INTEGER;
-- tick_lag_us: committed_us minus the instant to which time alone had brought the engine before these
-- readings, without which a replay would take one for earlier that came late; NULL: it had not
"""

_MINUTES = """
CREATE TABLE minutes(
    series INTEGER NOT NULL, minute INTEGER NOT NULL, -- since 1970
    low REAL NOT NULL, high REAL, -- NULL: as low
    total REAL, -- NULL: count times low, or where high is another value, the sum is no number
    count INTEGER NOT NULL,
    PRIMARY KEY(series, minute)
) STRICT, WITHOUT ROWID;

CREATE TABLE upkeep( -- how far it has come: see collector/store/progress.py
    what TEXT PRIMARY KEY, value INTEGER NOT NULL
) STRICT, WITHOUT ROWID;
INSERT INTO upkeep SELECT 'quarters_to_us', max(slot_us) + 900000000 FROM rollups HAVING count(*) > 0;
"""

_MIRROR = """
CREATE TABLE mirror( -- the time-series database that follows, the only row; its cursors are those below
    id INTEGER PRIMARY KEY CHECK(id = 1), target TEXT NOT NULL,
    failing_since_us INTEGER, reason TEXT -- NULL: it takes what it is sent
) STRICT;
CREATE TABLE mirror_cursors( -- up to here it has all of a series, save what stands in the next two tables
    series INTEGER PRIMARY KEY, sent_us INTEGER NOT NULL
) STRICT;
CREATE TABLE mirror_again( -- what came late, or got another flag, behind the cursor
    no INTEGER PRIMARY KEY AUTOINCREMENT, series INTEGER NOT NULL, observed_us INTEGER NOT NULL,
    UNIQUE(series, observed_us) ON CONFLICT REPLACE
) STRICT;
CREATE TABLE mirror_refused( -- what it refused, kept with its value: the reading itself may be gone by then
    series INTEGER NOT NULL, observed_us INTEGER NOT NULL, value REAL, flag INTEGER NOT NULL,
    refused_us INTEGER NOT NULL, reason INTEGER NOT NULL REFERENCES mirror_reasons(id),
    is_due INTEGER NOT NULL, -- whether it is to be tried anew
    PRIMARY KEY(series, observed_us)
) STRICT, WITHOUT ROWID;
CREATE TABLE mirror_reasons(
    id INTEGER PRIMARY KEY, text TEXT NOT NULL UNIQUE,
    not_kept INTEGER NOT NULL DEFAULT 0 -- how many more were refused for it than are kept
) STRICT;
"""

_CALIBRATIONS = """
CREATE TABLE calibrations( -- of probes, as people note them
    id INTEGER PRIMARY KEY, commit_no INTEGER NOT NULL, tank TEXT NOT NULL, series TEXT NOT NULL,
    done_us INTEGER NOT NULL, due_us INTEGER, -- when the next one is due; NULL: never
    note TEXT NOT NULL, who TEXT NOT NULL
) STRICT;
CREATE INDEX calibrations_by_time ON calibrations(done_us);
"""

_REVIEWS = """
CREATE TABLE verdicts( -- what people say an incident truly was; the last row of an incident counts
    id INTEGER PRIMARY KEY, commit_no INTEGER NOT NULL, incident INTEGER NOT NULL, at_us INTEGER NOT NULL,
    who TEXT NOT NULL, verdict TEXT NOT NULL, -- empty: taken back
    cause TEXT NOT NULL, -- empty: as it was told
    began_us INTEGER, ring_by_us INTEGER
) STRICT;
CREATE INDEX verdicts_by_incident ON verdicts(incident, id);

CREATE TABLE notes( -- of people, on incidents
    id INTEGER PRIMARY KEY, commit_no INTEGER NOT NULL, incident INTEGER NOT NULL, at_us INTEGER NOT NULL,
    who TEXT NOT NULL, text TEXT NOT NULL
) STRICT;
CREATE INDEX notes_by_incident ON notes(incident, id);
"""

_CONFLICTS = """
CREATE TABLE conflicts_not_kept( -- of days that had more than are kept
    series INTEGER NOT NULL, day INTEGER NOT NULL, -- of UTC, since 1970
    count INTEGER NOT NULL,
    PRIMARY KEY(series, day)
) STRICT, WITHOUT ROWID;
"""

_STRUCK = """
ALTER TABLE notes ADD COLUMN struck_us INTEGER;
-- struck_us: when somebody said that it does not hold
ALTER TABLE notes ADD COLUMN struck_by TEXT NOT NULL DEFAULT '';
"""

MIGRATIONS: tuple[str, ...] = (
    _FIRST,
    _PLANNED_WORK,
    _HEAT_MODELS,
    _REQUESTS,
    _TELLING,
    _DETOURS,
    _TICKS,
    _MINUTES,
    _MIRROR,
    _CALIBRATIONS,
    _REVIEWS,
    _CONFLICTS,
    _STRUCK,
)
CURRENT_VERSION = len(MIGRATIONS)


def version_of(connection: sqlite3.Connection, known: int = CURRENT_VERSION) -> int:
    """Return how many migrations the file has been through; 0 for an empty file.

    Raises
    ------
    StoreError
        If the file holds something else, or was written by a Brinebell that knows more than `known`.
    """
    version: int = connection.execute("PRAGMA user_version").fetchone()[0]
    application: int = connection.execute("PRAGMA application_id").fetchone()[0]
    if application != APPLICATION_ID:
        (tables,) = connection.execute("SELECT count(*) FROM sqlite_schema").fetchone()
        if tables or version or application:
            raise StoreError(
                f"{path_of(connection)} is a database of another program; give the store a folder of its own"
            )
    if version > known:
        raise StoreError(
            f"{path_of(connection)} has store version {version}, this Brinebell knows versions up to "
            f"{known}: install the newer Brinebell that wrote it, or restore an older backup"
        )
    return version


def migrate(connection: sqlite3.Connection, migrations: Sequence[str] = MIGRATIONS) -> tuple[int, int]:
    """Bring the file to the current version; return the versions before and after.

    Parameters
    ----------
    connection
        In autocommit mode, not inside a transaction.
    migrations
        The statements of each step, oldest first; each statement ends with its line.

    Raises
    ------
    StoreError
        As `version_of`; also if a step fails, which leaves the file at the version before it.
    """
    before = version_of(connection, len(migrations))
    for number in range(before + 1, len(migrations) + 1):
        try:
            connection.execute("BEGIN IMMEDIATE")
            # Another process may have done this step while we waited for the lock.
            if version_of(connection, len(migrations)) < number:
                for statement in migrations[number - 1].split(";\n"):
                    connection.execute(statement)
                connection.execute(f"PRAGMA application_id = {APPLICATION_ID}")
                connection.execute(f"PRAGMA user_version = {number}")
            connection.execute("COMMIT")
        except sqlite3.Error as error:
            if connection.in_transaction:
                with suppress(sqlite3.Error):
                    connection.execute("ROLLBACK")
            said = f"{path_of(connection)} could not be brought to store version {number}: {error}"
            raise refusal(said, error) from error
    return before, len(migrations)


def path_of(connection: sqlite3.Connection) -> str:
    """The file behind a connection, for messages."""
    return str(connection.execute("PRAGMA database_list").fetchone()[2]) or "the store in memory"
