"""One trial told minute by minute: what happened, what was shown, what was said and why."""

from __future__ import annotations

import dataclasses
from datetime import UTC, datetime

import numpy as np

from tests.bench.trials import trial
from tests.bench.trials.adapter import Heard
from tests.bench.trials.probes import Readings
from tests.bench.trials.worlds import MINUTE_US, World


def _clock(at_us: int) -> str:
    return f"{datetime.fromtimestamp(at_us / 1e6, UTC):%m-%d %H:%M}"


def _reason(reason: object) -> str:
    """Fields of a reason that say something."""
    if not dataclasses.is_dataclass(reason):
        return str(reason)
    shown = {f.name: getattr(reason, f.name) for f in dataclasses.fields(reason)}
    return ", ".join(
        f"{name} {value:.4g}" if isinstance(value, float) else f"{name} {value}"
        for name, value in shown.items()
        if value is not None and value is not False
    )


def describe(world: World) -> str:
    """The tank in a few lines."""
    text = (
        f"{world.kind} tank of {world.volume:g} L, read every {world.every_s} s, zone {world.zone}\n"
        f"  heater {world.heater_watts:.0f} W, needs {world.need_watts:.0f} W on a mean day, setpoint "
        f"{world.setpoint:.2f} +/- {world.hysteresis / 2:.2f} degC, room {world.room:.1f} +/- "
        f"{world.room_swing:.1f}\n"
        f"  time constant {world.capacity / world.ua / 3600:.1f} h\n"
        f"  evaporation {100 * world.share_a_day:.2f} % a day = {world.daily_litres / 24:.2f} L/h; "
        f"a litre is {1 / world.area_m2:.2f} mm\n"
        f"  level {world.level_cm:.1f} cm, band {world.band_cm:.2f} cm, pump {world.pump_lph:.0f} L/h, "
        f"{'limewater' if world.is_limewater else 'fresh water'}, "
        f"{'automatic' if world.is_automatic else 'by hand'}; return off: {world.drain_litres:.1f} L\n"
    )
    if world.cooler:
        text += f"  {world.cooler} from {world.cooler_setpoint:.2f} degC\n"
    probes = ", ".join(
        f"{name} {world.probes[name].noise:.3f}/{world.probes[name].resolution:g}"
        for name in world.series
        if name in world.probes
    )
    return text + f"  probes (noise/last digit): {probes}\n"


def series_table(world: World, readings: Readings, start_us: int, marks_us: list[int]) -> str:
    """Medians of ten minutes of every series around instants."""
    names = list(world.series)
    lines = ["  " + "time".ljust(22) + " ".join(name[:10].rjust(10) for name in names)]
    for mark in marks_us:
        cells = []
        for name in names:
            times = readings.times[name]
            inside = readings.values[name][(times >= mark - 10 * MINUTE_US) & (times < mark)]
            cells.append(f"{np.median(inside):10.2f}" if len(inside) else " " * 9 + "-")
        lines.append(
            "  " + f"{_clock(mark)} {(mark - start_us) / MINUTE_US:+8.0f} min".ljust(22) + " ".join(cells)
        )
    return "\n".join(lines) + "\n"


def sayings(heard: Heard, start_us: int) -> str:
    """Everything that was said, in order."""
    lines = []
    for ring in sorted(
        (*heard.rings, *(c for c in heard.changes if c not in heard.rings)), key=lambda r: r.at_us
    ):
        how = ("RINGS AGAIN" if ring in heard.rings else "changes") if ring.is_again else "RINGS"
        sure = "" if ring.confidence is None else f" confidence {ring.confidence:.2f}"
        rivals = f" rivals {', '.join(ring.rivals)}" if ring.rivals else ""
        lines.append(
            f"  {_clock(ring.at_us)} {(ring.at_us - start_us) / MINUTE_US:+8.0f} min  #{ring.number} {how}: "
            f"{ring.cause} ({ring.priority.value}) on {', '.join(ring.series)}{sure}{rivals}"
        )
        lines += [f"{'':32}- {_reason(reason)}" for reason in ring.reasons]
    for number, at_us in heard.ended.items():
        lines.append(f"  {_clock(at_us)} {(at_us - start_us) / MINUTE_US:+8.0f} min  #{number} ended")
    return "\n".join(lines) + "\n" if lines else "  nothing was said\n"


def fault(name: str, seed: int, volume: float | None, sets: tuple[str, ...]) -> str:
    """One fault trial."""
    played = trial.play(name, seed, volume)
    text = describe(played.world) + f"{name}: {played.detail} at {_clock(played.at_us)}\n"
    hours = played.case.hours
    marks = [
        played.at_us + int(hours * share * 3600e6)
        for share in (-0.5, 0.0, 0.02, 0.05, 0.1, 0.2, 0.35, 0.5, 0.75, 1.0)
    ]
    text += series_table(
        played.world, played.readings, played.at_us, [m for m in marks if m >= played.from_us]
    )
    for sensors in sets:
        verdict, heard = trial.judge(played, sensors)
        text += f"heard with {sensors} series:\n" + sayings(heard, played.at_us)
        text += f"  -> {verdict}\n"
    return text


def month(index: int, sets: tuple[str, ...]) -> str:
    """One quiet month: every ring with what it is blamed on."""
    lived = trial.live(index)
    text = describe(lived.world)
    for disturbance in sorted(lived.found, key=lambda d: d.from_us):
        if disturbance.name != "feeding pause":
            told = ", told" if disturbance.is_told else ""
            text += (
                f"  {_clock(disturbance.from_us)} to {_clock(disturbance.to_us)} {disturbance.name}{told}\n"
            )
    for sensors in sets:
        found, heard = trial.judge_month(lived, sensors)
        text += f"heard with {sensors} series:\n" + sayings(heard, lived.from_us)
        for cause, priority, why, is_told, at_us in found.rings:
            text += f"  {_clock(at_us)} {cause} ({priority}): {why}{', told' if is_told else ''}\n"
    return text
