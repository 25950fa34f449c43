"""Lives, tellings, test rings, messages that are withdrawn: what is written comes back."""

from __future__ import annotations

from pathlib import Path

import pytest

from collector.alarm_record import LifeChange, RingTest, ThreadRecord, Withdrawal
from collector.messages import NewMessage, Outcome
from collector.store import Commit, Outbox, Store, StoreReader
from rules import AlarmKey, AlarmLife, AlarmState, AlarmStep, Hold, Priority
from tests.delivery.post import put

NOW = 1_790_000_000_000_000
KEY = AlarmKey("reef", "temperature", "leak")


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "brinebell.sqlite"


def message(kind: str = "opened", person: str = "sam", incident: int | None = 1) -> NewMessage:
    return NewMessage(incident, kind, person, "json", NOW, NOW, "title", "body", Priority.URGENT)


def states(path: Path) -> list[str]:
    with StoreReader(path) as reader:
        return [one.state for one in reader.deliveries(1)]


def test_the_last_life_of_each_alarm_comes_back(path: Path) -> None:
    raised = AlarmLife().after(AlarmStep.RAISE)
    held = raised.held(Hold(AlarmState.SHELVED, NOW, NOW + 5, "sam", "why not"))
    whole = AlarmLife().held(Hold(AlarmState.OUT_OF_SERVICE, NOW, None, "kim", "cable"))
    with Store(path) as store:
        store.commit(Commit(NOW, NOW, lives=[LifeChange(KEY, NOW, "raise", raised)]))
        series = AlarmKey("reef", "ph", "")
        changes = [LifeChange(KEY, NOW, "shelve", held, "sam", "x"), LifeChange(series, NOW, "x", whole)]
        store.commit(Commit(NOW, NOW, lives=changes))
    with StoreReader(path) as reader:
        assert reader.alarm_lives() == {KEY: held, series: whole}


def test_a_telling_is_shown_with_its_incident_and_its_data_ends_with_its_story(path: Path) -> None:
    with Store(path) as store:
        put(store, NOW, message())
        waiting = ThreadRecord(1, "unacknowledged", data="{}")
        store.commit(Commit(NOW, NOW, threads=[waiting]))
        with StoreReader(path) as reader:
            assert reader.threads() == ("{}",)
            assert reader.incident(1).record.answer == waiting._replace(data=None)
        store.commit(Commit(NOW, NOW, threads=[ThreadRecord(1, "normal", "sam", NOW)]))
    with StoreReader(path) as reader:
        assert reader.threads() == ()
        assert reader.incidents()[0].answer == ThreadRecord(1, "normal", "sam", NOW)


def test_the_last_test_ring_of_each_person_comes_back(path: Path) -> None:
    rung = RingTest("sam", NOW)
    with Store(path) as store:
        store.commit(Commit(NOW, NOW, test_rings=[rung, RingTest("kim", NOW)]))
        store.commit(Commit(NOW, NOW, test_rings=[rung._replace(answered_us=NOW + 1, who="sam")]))
        later = RingTest("sam", NOW + 9)
        store.commit(Commit(NOW, NOW, test_rings=[later]))
    with StoreReader(path) as reader:
        assert reader.test_rings() == (RingTest("kim", NOW), later)


@pytest.mark.parametrize(
    ("withdrawal", "left"),
    [
        (Withdrawal(1), []),
        (Withdrawal(1, "sam"), ["kim"]),
        (Withdrawal(1, kinds=("again",)), ["sam", "kim"]),
        (Withdrawal(1, kinds=("again", "opened")), []),
        (Withdrawal(2), ["sam", "kim"]),
    ],
)
def test_what_is_withdrawn_is_sent_no_more(path: Path, withdrawal: Withdrawal, left: list[str]) -> None:
    with Store(path) as store:
        put(store, NOW, message(), message(person="kim"))
        store.commit(Commit(NOW, NOW, withdrawals=[withdrawal]))
        with Outbox(path) as outbox:
            assert [one.person for one in outbox.due(NOW)] == left
    assert states(path).count("withdrawn") == 2 - len(left)


def test_in_one_commit_what_is_new_outlives_what_is_withdrawn(path: Path) -> None:
    with Store(path) as store:
        put(store, NOW, message())
        commit = Commit(NOW, NOW, withdrawals=[Withdrawal(1)], messages=[message("again")])
        store.commit(commit)
    assert states(path) == ["withdrawn", "waiting"]


def test_what_is_being_sent_is_spared_where_that_is_asked_and_is_done_if_it_arrives(path: Path) -> None:
    with Store(path) as store, Outbox(path) as outbox:
        put(store, NOW, message(), message(person="kim"))
        sam, kim = (outbox.record_try_started(one.id, NOW) for one in outbox.due(NOW))
        store.commit(Commit(NOW, NOW, withdrawals=[Withdrawal(1, is_waiting=True)]))
        assert states(path) == ["waiting", "waiting"]
        store.commit(Commit(NOW, NOW, withdrawals=[Withdrawal(1)]))
        assert outbox.due(NOW) == ()
        outbox.record_try_ended(sam, NOW, Outcome.DELIVERED)
        outbox.record_try_ended(kim, NOW, Outcome.FAILED, retry_at_us=NOW)
        assert states(path) == ["done", "withdrawn"]
        assert outbox.due(NOW + 10**9) == ()


def test_what_was_repeated_in_vain_meanwhile_goes_with_the_first_that_arrives(path: Path) -> None:
    with Store(path) as store, Outbox(path) as outbox:
        put(store, NOW, message(), message("again"), message("again", "kim"), message("ended"))
        first = outbox.record_try_started(outbox.due(NOW)[0].id, NOW)
        outbox.record_try_ended(first, NOW, Outcome.DELIVERED)
    assert states(path) == ["done", "withdrawn", "waiting", "waiting"]


def test_a_message_of_no_incident_takes_nothing_with_it(path: Path) -> None:
    with Store(path) as store, Outbox(path) as outbox:
        put(store, NOW, message("again", incident=None), message("again", incident=None))
        first = outbox.record_try_started(outbox.due(NOW)[0].id, NOW)
        outbox.record_try_ended(first, NOW, Outcome.DELIVERED)
        assert len(outbox.due(NOW)) == 1
