"""Fits in the store: every outcome of a night, and the instant from which it applies.

That a series is still learning or has no usual pattern, and that a tank's heat could not be fitted, is
recorded like the rest: from then on it is judged without, now and after a restart.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from operator import attrgetter
from typing import Any, NamedTuple, TypeAlias

from collector.store import Store, StoreReader
from rules import Baseline, HeatModel, Learning, NotFitted, PoorFit, WeekProfile

Fitted: TypeAlias = WeekProfile | Learning | PoorFit
FittedHeat: TypeAlias = HeatModel | NotFitted

# Names of the outcomes in the store, beside their numbers. What an older Brinebell recorded under another
# name is passed over.
WEEK_PROFILE = "week_profile"
LEARNING = "learning"
POOR_FIT = "poor_fit"
HEAT_MODEL = "heat_model"
NOT_FITTED = "not_fitted"


class Version(NamedTuple):
    """What judges a series, by its index in the configuration, from an instant on; None: no baseline."""

    applies_from_us: int
    series: int
    baseline: Baseline | None


class HeatVersion(NamedTuple):
    """By which model of its heat a tank is judged from an instant on; None: by none."""

    applies_from_us: int
    tank: str
    model: HeatModel | None


def take_version(
    version: Version | HeatVersion, baselines: dict[int, Baseline], models: dict[str, HeatModel]
) -> None:
    """Bring what judges series, by index, and tanks, by name, up to a version."""
    if isinstance(version, Version):
        if version.baseline is None:
            baselines.pop(version.series, None)
        else:
            baselines[version.series] = version.baseline
    elif version.model is None:
        models.pop(version.tank, None)
    else:
        models[version.tank] = version.model


class Standing(NamedTuple):
    """The newest outcome of a series, and when it was fitted."""

    fitted: Fitted
    fitted_us: int


class HeatStanding(NamedTuple):
    """The newest outcome of a tank, and when it was fitted."""

    fitted: FittedHeat
    fitted_us: int


@dataclass(frozen=True, slots=True)
class Learned:
    """What judges series, by index, and tanks, by name, from now on; None for nothing."""

    baselines: Mapping[int, Baseline | None] = field(default_factory=dict)
    models: Mapping[str, HeatModel | None] = field(default_factory=dict)


def as_data(fitted: Fitted | FittedHeat) -> tuple[str, dict[str, Any]]:
    """Name and numbers of an outcome, as JSON has them."""
    if isinstance(fitted, Learning):
        return LEARNING, {"days": fitted.days}
    if isinstance(fitted, PoorFit):
        data = {"reason": fitted.reason, "coverage": fitted.coverage, "half_width": fitted.half_width}
        return POOR_FIT, data
    if isinstance(fitted, HeatModel):
        return HEAT_MODEL, fitted.as_mapping()
    if isinstance(fitted, NotFitted):
        return NOT_FITTED, {"reason": fitted.reason}
    return WEEK_PROFILE, fitted.to_data()


def from_data(form: str, data: Mapping[str, Any]) -> Fitted | None:
    """Make an outcome of a series of its name and numbers; None for a name that is not known any more.

    Raises
    ------
    KeyError, TypeError, ValueError
        If the numbers are not those of that name.
    """
    if form == LEARNING:
        return Learning(int(data["days"]))
    if form == POOR_FIT:
        return PoorFit(str(data["reason"]), float(data["coverage"]), float(data["half_width"]))
    return WeekProfile.from_data(data) if form == WEEK_PROFILE else None


def heat_from_data(form: str, data: Mapping[str, Any]) -> FittedHeat | None:
    """The same for an outcome of a tank."""
    if form == NOT_FITTED:
        return NotFitted(str(data["reason"]))
    return HeatModel.of_mapping(data) if form == HEAT_MODEL else None


def baseline_of(fitted: Fitted) -> Baseline | None:
    """What the engine is to judge by."""
    return fitted if isinstance(fitted, WeekProfile) else None


def model_of(fitted: FittedHeat) -> HeatModel | None:
    """The same of a tank."""
    return fitted if isinstance(fitted, HeatModel) else None


def record(
    store: Store,
    fits: Iterable[tuple[int, Fitted]],
    models: Iterable[tuple[str, FittedHeat]] = (),
    *,
    fitted_us: int,
    applies_from_us: int,
) -> Learned:
    """Record the outcomes of series, by index, and tanks, and return what the engine is to judge by then.

    Each is a transaction of its own: after a kill in between, some have their newer outcome.

    Raises
    ------
    StoreError
        If the store refuses one.
    """
    baselines: dict[int, Baseline | None] = {}
    for index, fitted in fits:
        form, data = as_data(fitted)
        store.record_baseline(index, form, data, fitted_us=fitted_us, applies_from_us=applies_from_us)
        baselines[index] = baseline_of(fitted)
    found: dict[str, HeatModel | None] = {}
    for tank, heat in models:
        form, data = as_data(heat)
        store.record_heat_model(tank, form, data, fitted_us=fitted_us, applies_from_us=applies_from_us)
        found[tank] = model_of(heat)
    return Learned(baselines, found)


def recorded_versions(reader: StoreReader, ids: Sequence[int], from_us: int) -> list[Version | HeatVersion]:
    """Return the versions in force at an instant and those after it.

    They are in the order in which they began to apply; one stays in force until the next of its kind.
    """
    indexes = {number: index for index, number in enumerate(ids)}
    found: list[Version | HeatVersion] = []
    for version in reader.baselines(from_us):
        index = indexes.get(version.series)
        fitted = None if index is None else from_data(version.form, version.data)
        if index is not None and fitted is not None:
            found.append(Version(version.applies_from_us, index, baseline_of(fitted)))
    for one in reader.heat_models(from_us):
        heat = heat_from_data(one.form, one.data)
        if heat is not None:
            found.append(HeatVersion(one.applies_from_us, one.tank, model_of(heat)))
    return sorted(found, key=attrgetter("applies_from_us"))


def standing(reader: StoreReader, ids: Sequence[int], at_us: int) -> dict[int, Standing]:
    """The outcome that stands at an instant for each series, by index; none for one that was never fitted."""
    indexes = {number: index for index, number in enumerate(ids)}
    found: dict[int, Standing] = {}
    for version in reader.baselines(at_us):
        index = indexes.get(version.series)
        fitted = None if index is None else from_data(version.form, version.data)
        if index is not None and fitted is not None:
            found[index] = Standing(fitted, version.fitted_us)
    return found


def standing_heat(reader: StoreReader, at_us: int) -> dict[str, HeatStanding]:
    """The same for each tank, by name."""
    found: dict[str, HeatStanding] = {}
    for version in reader.heat_models(at_us):
        heat = heat_from_data(version.form, version.data)
        if heat is not None:
            found[version.tank] = HeatStanding(heat, version.fitted_us)
    return found
