"""The faults that can be put into a recording: what each is, how large, and what it needs."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

from collector.configuration import Configuration
from collector.errors import ConfigError
from collector.injection import heat, probes, water
from collector.injection.how import How
from collector.injection.scene import Scene
from collector.recordings import Recording
from collector.settings.suggestions import instead_of
from collector.units import parse_rate
from rules import Annotation


@dataclass(frozen=True, slots=True)
class Kind:
    """A fault: `act` makes it happen; `series` are the roles in which it shows, none for those of a probe.

    `example` is a size as people write it, empty where there is none; `quantity` is what it is a rate of,
    "own" for that of the probe and empty for a plain number. `usual` computes the default from the tank's
    volume.
    """

    act: Callable[[Scene, float], None]
    what: str
    series: tuple[str, ...] = ()
    example: str = ""
    quantity: str = ""
    usual: Callable[[float], float] | None = None
    default: float = float("nan")

    @property
    def is_of_probe(self) -> bool:
        """Whether it needs to be told of which probe."""
        return not self.series

    def size_of(self, text: str, series_quantity: str = "") -> float:
        """Read a size.

        Raises
        ------
        ConfigError
            If it is none.
        """
        if not self.example:
            raise ConfigError(f"--size {text!r}: this fault has no size: leave it out")
        quantity = series_quantity if self.quantity == "own" else self.quantity
        if quantity:
            return parse_rate(text, quantity)
        share = text.strip().endswith("%")
        try:
            number = float(text.strip().removesuffix("%"))
        except ValueError:
            raise ConfigError(f"--size {text!r} is no number: write it like {self.example!r}") from None
        return number / 100.0 if share else number


_WATER = ("sump_level", "practical_salinity", "reservoir")
_HEAT = ("temperature",)
_ALL = ("temperature", "ph", "practical_salinity", "sump_level", "reservoir")
KINDS: dict[str, Kind] = {
    "heater_failed_off": Kind(heat.heater_failed_off, "the heater gives no heat", _HEAT),
    "heater_weak": Kind(heat.heater_weak, "the heater gives a share of its heat", _HEAT, "10 %", default=0.1),
    "heater_stuck_on": Kind(
        heat.heater_stuck_on,
        "the heater gives all its heat, all the time",
        _HEAT,
        "0.8 degC/h",
        "temperature",
        heat.heater_effect,
    ),
    "top_off_overdose": Kind(
        water.top_off_overdose, "the top-off runs on", _WATER, "5 L/h", "volume", default=5.0
    ),
    "top_off_failed": Kind(
        water.top_off_failed,
        "nothing replaces what evaporates",
        _WATER,
        "4 L/day",
        "volume",
        water.evaporation,
    ),
    "leak": Kind(water.leak, "the tank loses water", _WATER, "2 L/h", "volume", default=2.0),
    "probe_stuck": Kind(probes.probe_stuck, "a probe shows its last value"),
    "probe_silent": Kind(probes.probe_silent, "a probe shows nothing"),
    "probe_dry": Kind(probes.probe_dry, "a conductivity cell hangs in air"),
    "probe_noisy": Kind(probes.probe_noisy, "a probe scatters so many times as much", (), "10", default=10.0),
    "probe_drifting": Kind(
        probes.probe_drifting, "a probe goes away from the truth", (), "0.05 pH/day", "own"
    ),
    "mains_power_lost": Kind(probes.mains_power_lost, "nothing arrives of any probe", _ALL),
}


def inject(recording: Recording, configuration: Configuration, how: How) -> tuple[Recording, Annotation]:
    """Return what the probes would have shown, and what truly happened.

    Raises
    ------
    ConfigError
        If there is no such fault, or the recording or the configuration lacks what it needs.
    """
    kind = KINDS.get(how.cause)
    if kind is None:
        raise ConfigError(f"{how.cause!r} cannot be computed; {instead_of(how.cause, KINDS)}")
    scene = Scene(recording, configuration, how)
    if kind.is_of_probe and not scene.has(how.series):
        raise ConfigError(f"{how.cause} needs a probe that the recording holds: --series temperature")
    size = how.size
    if size != size:
        size = kind.default if kind.usual is None else kind.usual(scene.volume)
    if kind.example and size != size:
        raise ConfigError(f"{how.cause} needs a size: --size {kind.example!r}")
    kind.act(scene, size)
    shows: tuple[str, ...] = (how.series,)
    if not kind.is_of_probe:
        shows = tuple(scene.name(role) for role in kind.series if scene.has(role))
    annotation = Annotation(
        how.tank, how.cause, how.from_us, how.to_us, shows, note=f"Computed: {kind.what}."
    )
    return replace(scene.recorded(), skipped=recording.skipped), annotation
