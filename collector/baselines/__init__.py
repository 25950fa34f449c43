"""What is usual for each series: fitted at night in a process of its own, recorded, and read again."""

from collector.baselines.fitting import LEARN_FROM_US, Task, fit, tasks_of
from collector.baselines.nightly import Nightly
from collector.baselines.recorded import Fitted, Standing, Version, record, recorded_baselines, standing
from collector.baselines.refit import Failed, Fits, Refit, fit_in_worker, next_refit_us

__all__ = [
    "LEARN_FROM_US",
    "Failed",
    "Fits",
    "Fitted",
    "Nightly",
    "Refit",
    "Standing",
    "Task",
    "Version",
    "fit",
    "fit_in_worker",
    "next_refit_us",
    "record",
    "recorded_baselines",
    "standing",
    "tasks_of",
]
