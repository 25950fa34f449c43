"""Requests: done once whatever happens between taking and committing, and answered in the same commit."""

from __future__ import annotations

from collector.clock import Clock
from collector.intake import Asking
from collector.requests import BeginWork, Plan, Request
from collector.reviews import AddNote, GiveVerdict, Note, Verdict
from collector.store import RequestBox
from rules import PlannedWork
from tests.intake.conftest import Begin
from tests.intake.parts import MINUTE, Running


def asking_of(running: Running) -> Asking:
    plan = Plan(running.reader.known_works(), ["reef"])
    clock = Clock(wall=lambda: running.now_us)
    return Asking(
        running.reader, running.intake, plan, running.answering, clock, monotonic=lambda: running.now_us / 1e6
    )


def ask(running: Running, number: str = "1", minutes: int = 30) -> PlannedWork:
    work = PlannedWork("reef", "probe_cleaning", running.now_us, running.now_us + minutes * MINUTE)
    with RequestBox(running.configuration.store.path) as box:
        box.ask(Request(number, running.now_us, "keeper", BeginWork(*_fields(work))))
    return work


def _fields(work: PlannedWork) -> tuple[str, str, int, int]:
    return work.tank, work.kind, work.from_us, work.to_us


def answer(running: Running, number: str = "1") -> str | None:
    with RequestBox(running.configuration.store.path) as box:
        found = box.answer(number)
    return None if found is None else found.text


def test_a_request_is_done_and_answered_in_one_commit(running: Running) -> None:
    asking = asking_of(running)
    work = ask(running)
    asking.turn()
    assert answer(running) is None
    assert running.reader.known_works() == ()
    running.rounds()
    assert answer(running) == "planned"
    assert running.reader.known_works() == (work,)
    (commit,) = [one for one in running.keeper.commits if one.answers]
    assert commit.planned_work == (work,)
    assert running.reader.waiting_requests() == ()


def test_while_the_store_refuses_a_request_is_taken_once_and_answered_when_it_works_again(
    running: Running,
) -> None:
    asking = asking_of(running)
    ask(running)
    running.keeper.is_refusing = True
    for _ in range(10):
        running.now_us += MINUTE // 60
        asking.turn()
        running.rounds()
    assert answer(running) is None
    # The engine has the word of it all the same.
    running.now_us += MINUTE
    running.line.bring(running.message("temperature", "99"))
    running.rounds()
    running.keeper.is_refusing = False
    running.pass_time(70)
    assert answer(running) == "planned"
    assert sum(len(one.answers) for one in running.keeper.commits) == 1


def test_a_kill_before_the_commit_leaves_it_waiting_and_after_it_done(begin: Begin) -> None:
    running = begin()
    running.be_live()
    work = ask(running)
    asking_of(running).turn()
    again = running.again()
    assert [one.id for one in again.reader.waiting_requests()] == ["1"]
    asking_of(again).turn()
    again.rounds()
    assert again.reader.known_works() == (work,)
    last = again.again()
    assert last.reader.waiting_requests() == ()
    asking_of(last).turn()
    last.rounds()
    assert [one for one in last.keeper.commits if one.answers] == []
    assert last.reader.known_works() == (work,)


def test_what_is_said_of_an_incident_is_kept_in_the_commit_that_answers_it(begin: Begin) -> None:
    running = begin()
    running.be_live()
    asking = asking_of(running)
    for third in range(90):
        running.now_us += MINUTE // 3
        running.line.bring(running.message("temperature", "99" if third > 30 else "25"))
        asking.turn()
        running.rounds()
    (incident,) = running.reader.incidents()
    number = incident.incident.number
    asked = [GiveVerdict(number, "false"), GiveVerdict(number, "real"), AddNote(number, "It was the fuse.")]
    with RequestBox(running.configuration.store.path) as box:
        for place, one in enumerate([*asked, AddNote(number + 1, "Which one?")]):
            box.ask(Request(str(place), running.now_us + place, "keeper", one))
    asking.turn()
    # A kill here loses nothing: they wait.
    again = running.again()
    assert again.reader.verdicts() == {}
    assert len(again.reader.waiting_requests()) == 4
    asking_of(again).turn()
    again.rounds()
    assert answer(again, "3") == f"there is no incident {number + 1}"
    assert again.reader.verdicts()[number] == Verdict(number, running.now_us + 1, "keeper", "real")
    assert again.reader.notes(number) == (Note(number, running.now_us + 2, "keeper", "It was the fuse.", 1),)
    assert again.reader.notes(number + 1) == ()
    last = again.again()
    asking_of(last).turn()
    last.rounds()
    assert len(last.reader.notes(number)) == 1


def test_the_same_request_sent_twice_is_one(running: Running) -> None:
    asking = asking_of(running)
    work = ask(running)
    asking.turn()
    running.rounds()
    running.now_us += 10 * MINUTE
    ask(running)
    asking.turn()
    running.rounds()
    assert running.reader.known_works() == (work,)


def test_what_cannot_be_done_is_answered_and_leaves_the_plan_alone(running: Running) -> None:
    asking = asking_of(running)
    with RequestBox(running.configuration.store.path) as box:
        asked = BeginWork("pond", "calibration", running.now_us, running.now_us + MINUTE)
        box.ask(Request("1", running.now_us, "keeper", asked))
    asking.turn()
    running.rounds()
    assert answer(running) == "there is no tank 'pond': one of reef"
    assert running.reader.known_works() == ()


def test_the_list_is_not_looked_at_all_the_time(running: Running) -> None:
    asking = asking_of(running)
    asking.turn()
    ask(running)
    asking.turn()
    running.rounds()
    assert answer(running) is None
    running.now_us += MINUTE // 60
    asking.turn()
    running.rounds()
    assert answer(running) == "planned"
