"""The engine on computed tanks, no worse than measured: faults of every kind, and quiet months."""

from __future__ import annotations

import os

import pytest

from tests.bench.trials import bounds, campaign
from tests.bench.trials.__main__ import FORMS
from tests.bench.trials.cases import CASES
from tests.bench.trials.texture import SHARED


@pytest.mark.long
@pytest.mark.timeout(900)
def test_no_fault_is_told_later_or_less_and_no_quiet_month_is_louder() -> None:
    trials, months, _ = FORMS["short"]
    workers = min(2, os.cpu_count() or 1)
    pattern = campaign.Task((), ("all", "basic"))
    played = campaign.run_faults(CASES, trials, workers, pattern)
    lived = campaign.run_months(range(months), workers, pattern)
    found = bounds.summary(
        [v for one in played for v in one.verdicts], [m for one in lived for m in one.months]
    )
    if SHARED.is_dir():
        assert bounds.worse(found, bounds.measured("short")) == []
    else:
        assert bounds.unlikely(found, bounds.measured("long", "short")) == []
