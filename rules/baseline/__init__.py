"""What a series usually does at this time of the day, the week and the year, and how sure that is."""

from rules.baseline.band import DAYS_NEEDED, Band, Baseline, Learning, PoorFit
from rules.baseline.day_profile import DayProfile, fit_day_profile

__all__ = ["DAYS_NEEDED", "Band", "Baseline", "DayProfile", "Learning", "PoorFit", "fit_day_profile"]
