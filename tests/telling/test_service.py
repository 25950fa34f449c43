"""Ring, repeat, answer, next person: the real service over a real broker, to real receivers, at speed."""

from __future__ import annotations

import re
import time
from itertools import pairwise

import httpx
import pytest

from tests.broker import Mosquitto
from tests.delivery.receivers import WebReceiver, free_port
from tests.telling.household import RATE

pytestmark = pytest.mark.broker


def test_it_rings_and_repeats_until_somebody_acknowledges_on_the_command_line(live) -> None:
    with WebReceiver() as sam, WebReceiver() as kim:
        home = live({"sam": sam.url, "kim": kim.url})
        home.alarm()
        home.until(lambda: len(sam.rings) >= 2)
        done = home.command("acknowledge", "1", "--why", "on my way")
        assert (done.returncode, done.stderr) == (0, "")
        assert done.stdout == "Acknowledged: over limit (temperature); it rings again if it gets worse.\n"
        told = home.rows()
        # Longer than a repetition takes, and than the next person waits.
        time.sleep(16 * 60 / RATE)
        assert home.rows() == told
        assert kim.rings == []
        assert [body.split(".")[0] for _, body in sam.rings[1:2]] == ["Not acknowledged yet"]
        assert "    Acknowledged by " in home.command("incidents").stdout
        # Back to normal: told once, to who was told.
        home.read(25.0, 25.0, 25.0)
        home.until(lambda: home.rows()[-1][1] == "ended")
        home.until(lambda: sam.rings[-1][0].startswith("Ended:"))
        assert [person for person, kind, _ in home.rows() if kind == "ended"] == ["sam"]
        again = home.command("acknowledge", "1")
        assert again.returncode == 1
        assert again.stderr.startswith("Not done: incident 1 is acknowledged since ")


def test_the_next_person_is_told_when_nobody_acknowledges_and_a_kill_loses_no_step(live) -> None:
    with WebReceiver() as sam, WebReceiver() as kim:
        home = live({"sam": sam.url, "kim": kim.url})
        home.alarm()
        home.until(lambda: len(home.rows()) >= 2)
        home.kill()
        home.start()
        home.until(lambda: kim.rings)
        rows = home.rows()
        steps = [(person, kind) for person, kind, _ in rows]
        assert steps[:4] in (
            [("sam", "opened"), ("sam", "again"), ("sam", "again"), ("kim", "next")],
            # The third ring was due while the service was down for longer than that.
            [("sam", "opened"), ("sam", "again"), ("kim", "next"), *steps[3:4]],
        )
        minutes = [minute for _, _, minute in rows]
        assert all(later - earlier >= 4 for earlier, later in pairwise(minutes))
        assert minutes[steps.index(("kim", "next"))] >= 15
        assert kim.rings[0][1].startswith("Nobody has acknowledged yet.")


def test_a_probe_in_repair_is_quiet_and_what_is_wrong_behind_it_rings(live) -> None:
    with WebReceiver() as sam:
        home = live({"sam": sam.url})
        home.alarm()
        home.until(lambda: sam.rings)
        assert home.command("unshelve", "1").stderr == "Not done: nothing of incident 1 is shelved.\n"
        out = home.command("repair", "begin", "temperature", "--why", "new cable")
        assert out.stdout.startswith("Out of service: temperature in reef.")
        told = home.rows()
        time.sleep(6 * 60 / RATE)
        assert home.rows() == told
        assert home.command("repair", "end", "temperature").returncode == 0
        home.until(lambda: home.rows()[len(told) :])
        assert home.rows()[len(told)][:2] == ("sam", "back")


def test_shelved_on_the_command_line_it_is_quiet_until_it_is_over(live) -> None:
    with WebReceiver() as sam:
        home = live({"sam": sam.url})
        home.alarm()
        home.until(lambda: sam.rings)
        done = home.command("shelve", "1", "--for", "12 min", "--why", "asleep again")
        assert (done.returncode, done.stderr) == (0, "")
        assert done.stdout.startswith("Shelved until ")
        assert "    Shelved by " in home.command("incidents").stdout
        told = home.rows()
        time.sleep(6 * 60 / RATE)
        assert home.rows() == told
        home.until(lambda: home.rows()[len(told) :])
        assert home.rows()[len(told)][:2] == ("sam", "back")
        home.until(lambda: sam.rings[-1][1].startswith("Shelving is over."))


def test_a_button_that_publishes_acknowledges_and_a_retained_one_does_not(live, broker: Mosquitto) -> None:
    ask = '{"id": "%s", "do": "acknowledge", "incident": 1}'
    # MQTT 5.0, 3.3.1.3: who subscribes later is given it as retained.
    assert broker.publish("brinebell/reef/requests", ask % "kept", "-r")
    with WebReceiver() as sam:
        home = live({"sam": sam.url})
        home.until(lambda: "a retained request is not done" in home.log)
        home.alarm()
        home.until(lambda: sam.rings)
        assert home.incidents()[0].answer.state == "unacknowledged"
        assert broker.publish("brinebell/reef/requests", ask % "pressed")
        home.until(lambda: home.incidents()[0].answer.state == "acknowledged")
        assert home.incidents()[0].answer.who == "MQTT"


def test_who_is_away_by_the_file_is_passed_over(live) -> None:
    with WebReceiver() as sam, WebReceiver() as kim:
        home = live({"sam": sam.url, "kim": kim.url}, away="sam")
        home.alarm()
        home.until(lambda: kim.rings)
        assert sam.rings == []


def test_work_that_lasts_longer_than_announced_is_asked_about_before_it_rings(
    live, broker: Mosquitto
) -> None:
    """Two minutes of cleaning settle for thirty: asked at minute 17, rung from minute 32 on."""
    with WebReceiver() as sam:
        home = live({"sam": sam.url})
        ask = '{"id": "1", "do": "begin_work", "kind": "probe_cleaning", "for": "2 min"}'
        assert broker.publish("brinebell/reef/requests", ask)
        home.until(lambda: "begin probe cleaning in reef for 2 min: planned" in home.log)
        end = time.monotonic() + 60
        while not home.rows() and time.monotonic() < end:
            home.read(28.0)
        assert [(person, kind) for person, kind, _ in home.rows()] == [("sam", "work_over")]
        home.until(lambda: sam.rings)
        title, body = sam.rings[0]
        assert title.startswith("Still at work? Probe cleaning was over at 12:")
        assert body.startswith("Not back to normal: too high (Temperature). It rings from 12:")
        assert not home.incidents()
        while len(home.rows()) == 1 and time.monotonic() < end:
            home.read(28.0)
        assert [kind for _, kind, _ in home.rows()] == ["work_over", "opened"]


def test_the_link_in_a_ring_acknowledges_after_a_confirmation_and_not_by_a_look(live) -> None:
    with WebReceiver() as sam:
        port = free_port()
        home = live(
            {"sam": sam.url}, page=f'listen = "127.0.0.1:{port}"\npublic_url = "http://127.0.0.1:{port}"'
        )
        home.alarm()
        home.until(lambda: sam.rings)
        address = sam.rings[0][1].splitlines()[1].split()[0]
        with httpx.Client(trust_env=False, follow_redirects=True) as phone:
            page = phone.get(f"{address}/acknowledge")
            assert page.status_code == 200
            assert home.incidents()[0].answer.state == "unacknowledged"
            form = re.search(r'name="form" value="(\w+)"', page.text)[1]
            shown = phone.post(f"{address}/acknowledge", data={"form": form}).text
            assert "Acknowledged: over limit (temperature)" in shown
        assert home.incidents()[0].answer.state == "acknowledged"
        assert home.incidents()[0].answer.who == "sam"
        told = home.rows()
        time.sleep(6 * 60 / RATE)
        assert home.rows() == told
