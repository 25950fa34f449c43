"""The faults of one tank: which are looked for, and what each sees at a step."""

from __future__ import annotations

from collections.abc import Mapping

from rules.fault_panel import FaultPanel, Sight, subject_of
from rules.faults import FAULTS
from rules.faults.fault import NORMAL
from rules.look import TankLook
from rules.resettling import Resettling
from rules.setup import SeriesRules, TankRules


class FaultWatch:
    """The faults of one tank, shown how it looks.

    Parameters
    ----------
    rules, series
        What is known of the tank and of its series, these by their place among all series.
    roles
        Names of the series that have a role.
    resettling
        How the tank is seen behind planned work.
    """

    def __init__(
        self,
        rules: TankRules,
        series: Mapping[int, SeriesRules],
        roles: Mapping[str, str],
        resettling: Resettling,
    ) -> None:
        self._resettling = resettling
        self.panel = FaultPanel(rules, series, FAULTS.values(), roles, resettling.look)

    def sights(self, tank: TankLook) -> dict[int, Sight]:
        """What each fault sees, by the number of its post, where that is more than nothing."""
        found = {}
        views = self._resettling.views(tank)
        seen, hidden_to_us = tank, None
        for number, post in enumerate(self.panel.posts):
            fault = post.fault
            if views is not None:
                seen, hidden_to_us = views.of(fault.code)
            look = subject_of(post, seen)
            finding = None
            if look is not None and (look.is_fresh or fault.hears_silence):
                finding = fault.judge(look, seen, post.setting)
                if finding is NORMAL and hidden_to_us is None:
                    continue
            found[number] = Sight(look, finding, hidden_to_us)
        return found
