"""What is learned of a tank: what is usual for each series, and the model of its heat.

It is fitted at night in a process of its own, recorded, and read again at the next start.
"""

from collector.learning.expected import Expected, newest_standing
from collector.learning.fitting import LEARN_FROM_US, Task, fit
from collector.learning.heat import TankTask, fit_heat
from collector.learning.nightly import Nightly
from collector.learning.recorded import (
    Fitted,
    FittedHeat,
    HeatStanding,
    HeatVersion,
    Learned,
    Standing,
    Version,
    baseline_of,
    model_of,
    record,
    recorded_versions,
    standing,
    standing_heat,
    take_version,
)
from collector.learning.refit import Failed, Fits, Refit, fit_in_worker
from collector.learning.tasks import Tasks, tasks_of
from collector.learning.when import first_refits_us, next_refit_us

__all__ = [
    "LEARN_FROM_US",
    "Expected",
    "Failed",
    "Fits",
    "Fitted",
    "FittedHeat",
    "HeatStanding",
    "HeatVersion",
    "Learned",
    "Nightly",
    "Refit",
    "Standing",
    "TankTask",
    "Task",
    "Tasks",
    "Version",
    "baseline_of",
    "first_refits_us",
    "fit",
    "fit_heat",
    "fit_in_worker",
    "model_of",
    "newest_standing",
    "next_refit_us",
    "record",
    "recorded_versions",
    "standing",
    "standing_heat",
    "take_version",
    "tasks_of",
]
