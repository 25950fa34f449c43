"""Fits in the store: every outcome of a night, and the instant from which it applies.

That a series is still learning, or has no usual pattern, is recorded like a baseline: from then on it is
judged without one, now and after a restart.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import Any, NamedTuple, TypeAlias

from collector.store import Store, StoreReader
from rules import Baseline, Learning, PoorFit, WeekProfile

Fitted: TypeAlias = WeekProfile | Learning | PoorFit

# Names of the outcomes in the store, beside their numbers. What an older Brinebell recorded under another
# name is passed over.
WEEK_PROFILE = "week_profile"
LEARNING = "learning"
POOR_FIT = "poor_fit"


class Version(NamedTuple):
    """What judges a series, by its index in the configuration, from an instant on; None: no baseline."""

    applies_from_us: int
    series: int
    baseline: Baseline | None


class Standing(NamedTuple):
    """The newest outcome of a series, and when it was fitted."""

    fitted: Fitted
    fitted_us: int


def as_data(fitted: Fitted) -> tuple[str, dict[str, Any]]:
    """Name and numbers of an outcome, as JSON has them."""
    if isinstance(fitted, Learning):
        return LEARNING, {"days": fitted.days}
    if isinstance(fitted, PoorFit):
        data = {"reason": fitted.reason, "coverage": fitted.coverage, "half_width": fitted.half_width}
        return POOR_FIT, data
    return WEEK_PROFILE, fitted.to_data()


def from_data(form: str, data: Mapping[str, Any]) -> Fitted | None:
    """Make an outcome of its name and numbers; None for a name that is not known any more.

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


def baseline_of(fitted: Fitted) -> Baseline | None:
    """What the engine is to judge by."""
    return fitted if isinstance(fitted, WeekProfile) else None


def record(
    store: Store, fits: Iterable[tuple[int, Fitted]], *, fitted_us: int, applies_from_us: int
) -> dict[int, Baseline | None]:
    """Record the outcomes of series, by index, and return what the engine is to judge by from then on.

    Each is a transaction of its own: after a kill in between, some series have their newer baseline.

    Raises
    ------
    StoreError
        If the store refuses one.
    """
    found: dict[int, Baseline | None] = {}
    for index, fitted in fits:
        form, data = as_data(fitted)
        store.record_baseline(index, form, data, fitted_us=fitted_us, applies_from_us=applies_from_us)
        found[index] = baseline_of(fitted)
    return found


def recorded_baselines(
    reader: StoreReader, ids: Sequence[int], from_us: int
) -> tuple[list[Version], int | None]:
    """Return the versions in force at an instant and those after it, and when the youngest was fitted.

    They are in the order in which they began to apply; one stays in force until the next of its series.
    """
    indexes = {number: index for index, number in enumerate(ids)}
    found: list[Version] = []
    youngest_us: int | None = None
    for version in reader.baselines(from_us):
        index = indexes.get(version.series)
        fitted = None if index is None else from_data(version.form, version.data)
        if index is None or fitted is None:
            continue
        found.append(Version(version.applies_from_us, index, baseline_of(fitted)))
        youngest_us = max(version.fitted_us, youngest_us or 0)
    return found, youngest_us


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
