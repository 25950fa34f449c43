"""What is rung past a store that refuses is called off like what is stored."""

from __future__ import annotations

from collector.alarm_record import Withdrawal
from collector.intake.unstored import UnstoredMessages
from collector.messages import NewMessage
from rules import Priority


def message(kind: str = "opened", person: str = "sam", incident: int = 1) -> NewMessage:
    return NewMessage(incident, kind, person, "json", 5, 5, "title", "body", Priority.URGENT)


def waiting(unstored: UnstoredMessages) -> list[tuple[str, str]]:
    return [(one.person, one.kind) for one in unstored.due(5)]


def test_what_is_meant_is_called_off_and_comes_not_back() -> None:
    unstored = UnstoredMessages()
    unstored.add([message(), message("again", "kim"), message("opened", "kim", 2)])
    unstored.call_off([Withdrawal(1, kinds=("again",))])
    assert waiting(unstored) == [("sam", "opened"), ("kim", "opened")]
    unstored.call_off([Withdrawal(1)])
    assert waiting(unstored) == [("kim", "opened")]
    # The loop names it again with every commit that waits.
    unstored.add([message(), message("again", "kim")])
    assert waiting(unstored) == [("kim", "opened")]


def test_what_is_being_sent_is_spared() -> None:
    unstored = UnstoredMessages()
    unstored.add([message()])
    unstored.record_try_started(unstored.due(5)[0].id, 5)
    unstored.call_off([Withdrawal(1, is_waiting=True)])
    assert waiting(unstored) == [("sam", "opened")]
