"""The tables of a series that say how the quality of its readings is judged, one a test."""

from __future__ import annotations

from collector.settings.table import Table, key, required


class SpikeSettings(Table):
    """How far a reading stands apart from its two neighbours (QARTOD test 6)."""

    suspect: str | None = key("more is suspect", like='"0.3 degC"', unit="difference in the series' unit")
    fail: str | None = key("more fails", like='"1 degC"', unit="difference in the series' unit")
    method: str = key(
        '"average": distance from the mean of both neighbours; "differential": the smaller of both steps, '
        "where they have opposite signs",
        "average",
        like='"average"',
    )


class FlatLineSettings(Table):
    """How long values may stay the same (QARTOD test 8); elapsed time, not counts."""

    tolerance: str = required(
        "values within this span count as the same; one step of the probe also takes in a converter that "
        "flickers, 0 only equal values",
        like='"0.001 degC"',
        unit="difference in the series' unit",
    )
    suspect_after: str = required("suspect after this time", like='"2 h"', unit="duration")
    fail_after: str = required(
        "fails, and the probe is called stuck, after this time", like='"6 h"', unit="duration"
    )


class RateOfChangeSpreadSettings(Table):
    """A change between two readings beside the series' own spread (QARTOD test 7: N_DEV, TIM_DEV)."""

    deviations: float = key(
        "a change of more than so many standard deviations is suspect; the manual's example is 3",
        3.0,
        like="3",
    )
    window: str = key(
        "stretch over which the standard deviation is taken", "25 h", like='"25 h"', unit="duration"
    )
    least_change: str | None = key(
        "a change up to this is never suspect by its deviations: still water has none, and a probe has steps",
        like='"0.2 degC"',
        unit="difference in the series' unit",
        otherwise="the deadband",
    )


class ClimatologySettings(Table):
    """What is usual at this time (QARTOD test 5); until that is learned, months alone can say it."""

    widths: float = key(
        "suspect beyond so many half widths of the learned band; 1 is its edge, which a healthy tank "
        "crosses now and then",
        2.0,
        like="2",
    )
    months: dict[str, list[str]] | None = key(
        'what is usual in these months, "6" or "6-8" or "12-2"; of several that hold the last counts',
        like='{ "6-8" = ["24 degC", "28 degC"] }',
        unit="the series' unit",
    )


class AttenuatedSignalSettings(Table):
    """How little a value may move within a window (QARTOD test 10: TST_TIM, MIN_VAR_WARN, MIN_VAR_FAIL)."""

    window: str = key("the stretch that is looked at", "12 h", like='"12 h"', unit="duration")
    suspect_below: str = required(
        "suspect if it moves less than this", like='"0.02 degC"', unit="difference in the series' unit"
    )
    fail_below: str | None = key(
        "fails if it moves less than this", like='"0.005 degC"', unit="difference in the series' unit"
    )
    method: str = key(
        '"range": largest less smallest value; "deviation": standard deviation', "range", like='"range"'
    )
    fewest: int = key("no verdict on fewer readings than this", 10, like="10")


class CompanionSettings(Table):
    """A series beside which this one is judged (QARTOD tests 9 and 11: N1_DEV, N2_DEV, TIM_DEV)."""

    companion: str = required("the other series of the tank", like='"temperature_2"')
    deviations: float = key(
        "this series has moved if it changes by more than so many of its standard deviations", 2.0, like="2"
    )
    companion_deviations: float = key("and its companion by so many of its own", 2.0, like="2")
    window: str = key(
        "stretch over which the standard deviations are taken", "25 h", like='"25 h"', unit="duration"
    )
    least_change: str | None = key(
        "a change up to this is no move",
        like='"0.3 degC"',
        unit="difference in the series' unit",
        otherwise="the deadband",
    )
