"""One rehearsal from beginning to end: a service of its own, the player, and what is told of it."""

from __future__ import annotations

import os
import signal
import tempfile
import threading
import time
from collections.abc import Callable
from contextlib import ExitStack
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

from tqdm import tqdm

from collector.clock import Clock
from collector.configuration import Configuration
from collector.demo.broker import free_port
from collector.demo.phone import Phone
from collector.demo.view import View
from collector.journal import start_logging
from collector.recordings import Recording
from collector.rehearsal.player import Player
from collector.rehearsal.settings import TOPIC, rehearsed
from collector.serving import serve
from collector.store import StoreReader
from collector.wording.times import duration_text
from rules import MICROSECONDS, Incident

# What starting takes, in seconds of the wall: the first reading is due then.
_STARTING_S = 5.0
# Behind the last reading: how long what it showed may take to be told.
_ENDING_S = 3.0
_BEHIND_US = 60 * MICROSECONDS


@dataclass(frozen=True, slots=True)
class Rehearsal:
    """What is played, and how.

    Parameters
    ----------
    recording
        Its series are those of the configuration.
    config
        The file of the configuration.
    speed
        Seconds of the recording in a second.
    rings_people
        Whether those people are rung who would be rung; else it is shown in the terminal.
    """

    recording: Recording
    configuration: Configuration
    config: Path
    speed: float
    rings_people: bool


def rehearse(rehearsal: Rehearsal) -> tuple[Incident, ...]:
    """Play it until its end, or until Ctrl-C; return what the service had in its list by then.

    Raises
    ------
    BrokerError
        If the broker of the configuration is not reached or does not let it in.
    """
    zone = next((one.rules.time_zone for one in rehearsal.configuration.tanks), "UTC")
    view = View(zone, on_closed=_press_ctrl_c)
    with ExitStack() as stack:
        folder = Path(stack.enter_context(tempfile.TemporaryDirectory(prefix="brinebell-rehearsal-")))
        phone = stack.enter_context(Phone(view.ring))
        urls = None if rehearsal.rings_people else (phone.url,)
        configuration = rehearsed(rehearsal.configuration, folder / "store", free_port(), urls)
        log = stack.enter_context((folder / "service.log").open("w", encoding="utf-8"))
        start_logging(stream=log, environ={})
        times_us = rehearsal.recording.times_us
        clock = Clock(
            int(times_us[0]) - round(_STARTING_S * rehearsal.speed * MICROSECONDS),
            rehearsal.speed,
            # Behind the recording nothing is silent: it is over.
            end_us=int(times_us[-1]) + _BEHIND_US,
        )
        _say_what_begins(rehearsal, configuration, view)
        bar = stack.enter_context(
            tqdm(total=len(times_us), unit=" readings", unit_scale=True, disable=None, leave=False)
        )
        player = Player(rehearsal.recording, configuration, clock, bar.update, _ender())
        with player:
            serve(configuration, clock=clock)
        with StoreReader(configuration.store.path) as reader:
            return tuple(sorted((one.incident for one in reader.incidents()), key=lambda one: one.number))


def _say_what_begins(rehearsal: Rehearsal, configuration: Configuration, view: View) -> None:
    times_us, mqtt = rehearsal.recording.times_us, configuration.mqtt
    lasts_us = round((int(times_us[-1]) - int(times_us[0])) / rehearsal.speed)
    first = datetime.fromtimestamp(int(times_us[0]) // MICROSECONDS, UTC)
    what = f"{len(times_us):,} readings from {first:%Y-%m-%d %H:%M} UTC on"
    view.say(f"Rehearsal: {what}, {rehearsal.speed:g} times as fast, in {duration_text(lasts_us)}.")
    view.say(f"Broker    {mqtt.host}:{mqtt.port}, topics {TOPIC}/..., a service of its own beside yours")
    if configuration.page.enabled:
        view.say(f"Page      http://{configuration.page.host}:{configuration.page.port}/")
    names = ", ".join(one.name for one in rehearsal.configuration.people) or "nobody"
    rung = (
        f"{names}, really" if rehearsal.rings_people else "shown here; --ring rings those who would be rung"
    )
    view.say(f"Rings     {rung}")
    view.say(
        f"Answer    BRINEBELL_SERVICE__FOLDER={configuration.store.folder} brinebell acknowledge NUMBER "
        f"--config {rehearsal.config}"
    )
    view.say("Stop      Ctrl-C")
    view.say()


def _ender() -> Callable[[], None]:
    def end() -> None:
        time.sleep(_ENDING_S)
        _press_ctrl_c()

    return lambda: threading.Thread(target=end, name="end of the rehearsal", daemon=True).start()


def _press_ctrl_c() -> None:
    """End it from any thread, in the one way in which it ends for a person too."""
    os.kill(os.getpid(), signal.SIGINT)
