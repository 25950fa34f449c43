"""One run of the demo: what is started, in which order, and what is told of it.

A tank that was watched for two weeks goes into a night; its heater fails while everybody sleeps. The
service is the real one: only its clock runs faster, and broker, phone and boards are the demo's own.
"""

from __future__ import annotations

import math
import os
import shutil
import signal
import sys
import threading
import time
from collections.abc import Callable
from contextlib import ExitStack
from dataclasses import dataclass
from datetime import UTC, datetime
from importlib.resources import files
from pathlib import Path

from tqdm import tqdm

from collector.clock import Clock
from collector.configuration import Configuration
from collector.demo.broker import USER, DemoBroker, free_port
from collector.demo.folder import DemoFolder
from collector.demo.history import put_history
from collector.demo.phone import Phone, Ring
from collector.demo.view import View
from collector.demo.watcher import Watcher
from collector.journal import start_logging
from collector.learning import Fits, fit_in_worker, record, tasks_of
from collector.serving import serve
from collector.settings import load_configuration
from collector.simulation import HeaterFailedOff, SimulatedTank, TankSettings
from collector.simulation.boards import Boards
from collector.store import IncidentRecord, Store, StoreReader
from rules import HOUR_US, MICROSECONDS

CAUSE = "heater_failed_off"
_TANK = "reef"
_MINUTE_US = HOUR_US // 60
_DAY_US = 24 * HOUR_US
# Always the same night, so that the demo tells the same story on every machine. With this seed the heater
# is at work when it fails: its power drops to nothing before anything can be seen in the water.
_SEED = 34
_NIGHT = datetime(2026, 3, 21, tzinfo=UTC)
_FAILS_AFTER_START_US = 30 * _MINUTE_US
_START_US = round(_NIGHT.timestamp()) * MICROSECONDS - _FAILS_AFTER_START_US
_FAILED_US = _START_US + _FAILS_AFTER_START_US
# When the keeper would get up and see it.
_REPAIRED_US = _FAILED_US + 7 * HOUR_US
_HISTORY_US = 14 * _DAY_US
# The tank runs for a day before anybody watches, so that it has settled.
_SETTLING_US = _DAY_US
_EVERY_US = _MINUTE_US
# A failure that is not seen within four hours of tank time is not seen early.
_PATIENCE_US = 4 * HOUR_US
# What starting the service and ringing the phone may take beside, on a slow machine.
_PATIENCE_S = 20.0


@dataclass(frozen=True, slots=True)
class Options:
    """What a person may choose of the demo; see `brinebell demo --help`."""

    folder: Path
    rate: float = 120.0
    port: int | None = None
    has_page: bool = True
    broker: str = "auto"
    once: bool = False
    minutes: float | None = None


def run(options: Options) -> int:
    """Run the demo until Ctrl-C, until its minutes are over, or once.

    Returns
    -------
    int
        0; with `once`, 1 if the failure was not recognised, or did not ring, in time.
    """
    view = View("UTC", on_closed=_press_ctrl_c)
    _take_every_signal_as_ctrl_c()
    try:
        with DemoFolder(options.folder) as folder:
            return _run_in(folder, options, view)
    except KeyboardInterrupt:
        view.say("\nStopped.")
        return 0


def _run_in(folder: DemoFolder, options: Options, view: View) -> int:
    has_rung = threading.Event()

    def on_ring(ring: Ring) -> None:
        view.ring(ring)
        if ring.is_loud:
            has_rung.set()

    with ExitStack() as stack:
        broker = stack.enter_context(DemoBroker(folder.path / "broker", kind=options.broker))
        phone = stack.enter_context(Phone(on_ring))
        path = _write_configuration(folder, options, broker, phone)
        configuration = load_configuration(path, {})
        tank = SimulatedTank(
            TankSettings(),
            seed=_SEED,
            start_us=_START_US - _HISTORY_US - _SETTLING_US,
            faults=[HeaterFailedOff(_FAILED_US, _REPAIRED_US)],
        )
        _make_history(configuration, tank, view)
        log = stack.enter_context((folder.path / "service.log").open("w", encoding="utf-8"))
        start_logging(stream=log, environ={})
        clock = Clock(start_us=_START_US, rate=options.rate)
        _say_what_to_look_at(configuration, path, broker, options, view)
        watcher = Watcher(
            configuration.store.path,
            clock,
            view,
            cause=CAUSE,
            leader="temperature",
            after_look=_ender(options, clock, has_rung),
        )
        boards = Boards(
            tank,
            _TANK,
            clock=clock,
            every_us=_EVERY_US,
            host=broker.host,
            port=broker.port,
            username=USER,
        )
        with watcher, boards:
            serve(configuration, clock=clock)
    return _say_how_it_ended(watcher.recognised, has_rung.is_set(), options, view)


def _ender(
    options: Options, clock: Clock, has_rung: threading.Event
) -> Callable[[IncidentRecord | None], None]:
    """What ends the service when the demo has shown what it should, or has waited long enough for it."""
    limit_s = math.inf
    if options.minutes is not None:
        limit_s = options.minutes * 60.0
    if options.once:
        limit_s = min(limit_s, clock.wall_seconds(_FAILED_US - _START_US + _PATIENCE_US) + _PATIENCE_S)
    until = time.monotonic() + limit_s
    is_ending = threading.Event()

    def end_when_due(recognised: IncidentRecord | None) -> None:
        is_shown = options.once and recognised is not None and has_rung.is_set()
        if (is_shown or time.monotonic() >= until) and not is_ending.is_set():
            is_ending.set()
            _press_ctrl_c()

    return end_when_due


def _press_ctrl_c() -> None:
    """End the demo from any thread, in the one way in which it ends for a person too."""
    os.kill(os.getpid(), signal.SIGINT)


def _take_every_signal_as_ctrl_c() -> None:
    """A closed terminal or a `kill` ends the demo as cleanly as Ctrl-C: nothing is left running."""
    for number in (signal.SIGINT, signal.SIGTERM, signal.SIGHUP):
        signal.signal(number, signal.default_int_handler)


def _write_configuration(folder: DemoFolder, options: Options, broker: DemoBroker, phone: Phone) -> Path:
    """The shipped demo configuration under a head that says where this run's own parts are."""
    folder.write_secret("phone.urls", f"{phone.url}\n")
    head = f"""\
[service]
folder = "store"
# At the demo's rate, minutes pass while it starts.
outage_after = "7 days"

[mqtt]
host = "{broker.host}"
port = {broker.port}
username = "{USER}"

[page]
enabled = {str(options.has_page).lower()}
listen = "127.0.0.1:{options.port or free_port()}"

[people.keeper]
urls_file = "phone.urls"

"""
    shipped = files("collector").joinpath("data", "demo.toml").read_text(encoding="utf-8")
    path = folder.path / "demo.toml"
    path.write_text(head + shipped, encoding="utf-8")
    return path


def _make_history(configuration: Configuration, tank: SimulatedTank, view: View) -> None:
    view.say("Two weeks of a simulated tank go through the engine into the store, so that it knows what is")
    view.say("usual here at each hour, and how fast this tank cools:")
    days = _HISTORY_US // _DAY_US
    tank.advance_to(_START_US - _HISTORY_US)
    with (
        Store(configuration.store.path) as store,
        tqdm(total=days, unit="day", disable=None, leave=False) as bar,
    ):
        put_history(
            store,
            configuration,
            tank,
            _TANK,
            to_us=_START_US,
            every_us=_EVERY_US,
            progress=lambda stored_us: bar.update(stored_us / _DAY_US),
        )
        with StoreReader(configuration.store.path) as reader:
            ids = [reader.series_id(one.tank, one.name) for one in configuration.series]
        fits = fit_in_worker(configuration.store.path, tasks_of(configuration, ids), _START_US)
        if isinstance(fits, Fits):
            found = (fits.found.items(), fits.models.items())
            record(store, *found, fitted_us=_START_US, applies_from_us=_START_US)
    view.say(f"  {days} days are in {_shortest(configuration.store.path)}")


def _say_what_to_look_at(
    configuration: Configuration, path: Path, broker: DemoBroker, options: Options, view: View
) -> None:
    page, shown, brinebell = configuration.page, _shortest(path), _command()
    view.say()
    if page.enabled:
        view.say(f"Look at   http://{page.host}:{page.port}/")
    view.say(f"Try       {brinebell} incidents --config {shown}")
    view.say(f"          {brinebell} check --config {shown}")
    view.say(
        f"Broker    {broker.kind} at {broker.host}:{broker.port}, user {USER}, topics brinebell/{_TANK}/..."
    )
    view.say(f"Log       {_shortest(path.with_name('service.log'))}")
    view.say("Stop      Ctrl-C")
    view.say()
    view.say(
        f"It is {view.time(_START_US)} at the tank, and time runs {options.rate:g} times as fast as yours. "
        f"At {view.time(_FAILED_US)} the"
    )
    view.say("heater fails, and everybody sleeps.")
    view.say()


def _say_how_it_ended(recognised: IncidentRecord | None, has_rung: bool, options: Options, view: View) -> int:
    view.say()
    if recognised is None:
        view.say("Stopped. In this run the heater's failure was not recognised.")
        return 1 if options.once else 0
    minutes = (recognised.incident.alarmed_at_us - _FAILED_US) // _MINUTE_US
    rang = "the phone rang" if has_rung else "the phone did not ring"
    view.say(f"Stopped. The heater's failure was recognised {minutes} minutes of tank time after it; {rang}.")
    return 1 if options.once and not has_rung else 0


def _command() -> str:
    """How a person here calls `brinebell`: in a virtual environment that is not active, by its path."""
    called = Path(sys.argv[0]).absolute()
    if called.name != "brinebell":
        return "python -m collector"
    found = shutil.which("brinebell")
    return "brinebell" if found and Path(found).samefile(called) else str(_shortest(called))


def _shortest(path: Path) -> Path:
    """The path as a person here would type it."""
    try:
        return path.relative_to(Path.cwd())
    except ValueError:
        return path
