"""Requests in the store: written by who asks, read by the service, answered in the commit that does them."""

from __future__ import annotations

import sqlite3
import threading
from collections.abc import Sequence
from dataclasses import asdict
from pathlib import Path

import orjson

from collector.alarm_requests import (
    Acknowledge,
    AnswerTestRing,
    Reset,
    ReturnToService,
    Shelve,
    TakeOutOfService,
    Unshelve,
)
from collector.care_requests import RecordCalibration
from collector.errors import StoreError
from collector.recurrence import RecurringWork
from collector.requests import Answer, Asked, BeginWork, CancelWork, EndWork, ImportWorks, Request
from collector.reviews import AddNote, GiveVerdict, StrikeNote
from collector.store.connection import connect, transaction
from collector.store.schema import CURRENT_VERSION, version_of

_FORMS: dict[str, type[Asked]] = {
    "begin_work": BeginWork,
    "end_work": EndWork,
    "cancel_work": CancelWork,
    "acknowledge": Acknowledge,
    "shelve": Shelve,
    "unshelve": Unshelve,
    "reset": Reset,
    "take_out_of_service": TakeOutOfService,
    "return_to_service": ReturnToService,
    "answer_test_ring": AnswerTestRing,
    "import_works": ImportWorks,
    "record_calibration": RecordCalibration,
    "give_verdict": GiveVerdict,
    "add_note": AddNote,
    "strike_note": StrikeNote,
}
_NAMES = {form: name for name, form in _FORMS.items()}


class RequestBox:
    """The asker's side: a process of its own, beside the service that does what is asked.

    Raises
    ------
    StoreError
        If the store is not there or of another version; from each method, if the database refuses.
    """

    def __init__(self, path: Path, *, busy_timeout_s: float = 5.0) -> None:
        if not path.is_file():
            raise StoreError(f"there is no store at {path} yet: `brinebell run` makes it")
        self._lock = threading.Lock()
        self._connection = connect(path, synchronous="FULL", busy_timeout_s=busy_timeout_s)
        try:
            version = version_of(self._connection)
            if version != CURRENT_VERSION:
                raise StoreError(
                    f"{path} has store version {version}, this command needs {CURRENT_VERSION}: restart the "
                    "service with the Brinebell that is installed now"
                )
        except BaseException:
            self._connection.close()
            raise

    def __enter__(self) -> RequestBox:
        return self

    def __exit__(self, *exc_info: object) -> None:
        self._connection.close()

    def ask(self, request: Request) -> None:
        """Write a request down; one whose id is known already is the same request, and done once."""
        with transaction(self._connection, self._lock):
            insert_requests(self._connection, [request])

    def answer(self, request: str) -> Answer | None:
        """What became of a request; None as long as the service has not taken it."""
        try:
            row = self._connection.execute(
                "SELECT id, is_done, answer FROM requests WHERE id = ? AND commit_no IS NOT NULL", (request,)
            ).fetchone()
        except sqlite3.Error as error:
            raise StoreError(f"the requests cannot be read: {error}") from error
        return None if row is None else Answer(row[0], bool(row[1]), row[2])


def insert_requests(connection: sqlite3.Connection, requests: Sequence[Request]) -> None:
    """Let requests wait, in the caller's transaction; one whose id is known already changes nothing."""
    connection.executemany(
        "INSERT INTO requests(id, asked_us, who, asked) VALUES(?, ?, ?, ?) ON CONFLICT DO NOTHING",
        [(one.id, one.asked_us, one.who, _text_of(one.asked)) for one in requests],
    )


def waiting_requests(connection: sqlite3.Connection) -> tuple[Request, ...]:
    """Requests that have not been done, in the order in which they were asked."""
    rows = connection.execute(
        "SELECT id, asked_us, who, asked FROM requests WHERE commit_no IS NULL ORDER BY asked_us, rowid"
    )
    return tuple(Request(number, asked_us, who, asked_of(text)) for number, asked_us, who, text in rows)


def imported_works(connection: sqlite3.Connection) -> tuple[RecurringWork, ...]:
    """The works of the last import of each tank, as it was done."""
    rows = connection.execute(
        "SELECT asked FROM requests WHERE is_done AND json_extract(asked, '$.do') = ?"
        " ORDER BY commit_no, rowid",
        (_NAMES[ImportWorks],),
    )
    imports = [asked for (text,) in rows if isinstance(asked := asked_of(text), ImportWorks)]
    return tuple(work for asked in {one.tank: one for one in imports}.values() for work in asked.works)


def record_answers(connection: sqlite3.Connection, answers: Sequence[Answer], number: int) -> None:
    """Note with which commit requests were done, and what became of them."""
    connection.executemany(
        "UPDATE requests SET commit_no = ?, is_done = ?, answer = ? WHERE id = ?",
        [(number, answer.is_done, answer.text, answer.request) for answer in answers],
    )


def _text_of(asked: Asked) -> str:
    return orjson.dumps({"do": _NAMES[type(asked)]} | asdict(asked)).decode()


def asked_of(text: str) -> Asked:
    """What is asked, as it was written."""
    values = orjson.loads(text)
    if "works" in values:
        values["works"] = tuple(RecurringWork.of(one) for one in values["works"])
    return _FORMS[values.pop("do")](**values)
