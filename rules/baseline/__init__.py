"""What a series usually does at this time of the day, the week and the year, and how sure that is."""

from rules.baseline.band import DAYS_NEEDED, Band, Baseline, Learning, PoorFit
from rules.baseline.fit import LEARN_DAYS, fit_baseline
from rules.baseline.season import YearWave
from rules.baseline.week_profile import WeekProfile

__all__ = [
    "DAYS_NEEDED",
    "LEARN_DAYS",
    "Band",
    "Baseline",
    "Learning",
    "PoorFit",
    "WeekProfile",
    "YearWave",
    "fit_baseline",
]
