"""The boards that carry probes: an alarm for each whose last will was published and that stays away."""

from __future__ import annotations

from collections.abc import Iterable

from rules.alarm import NEVER, Change, DelayedAlarm
from rules.events import AlarmKey, AlarmRaised, AlarmReturned, Evidence, Priority
from rules.staging import RAISED, RETURNED, Staged
from rules.trace import MINUTE_US

# A board that restarts or changes its access point is back within a minute; a dead one is not.
ON_DELAY_US = MINUTE_US
# Where all boards of a tank are gone, the next looks at the tank have the word: they know of lost power.
ALL_GONE_DELAY_US = 12 * MINUTE_US
CAUSE = "device_offline"


class Boards:
    """The boards of all tanks, by tank and name."""

    def __init__(self) -> None:
        self._known: dict[tuple[str, str], tuple[DelayedAlarm, tuple[str, ...]]] = {}

    def change(
        self,
        at_us: int,
        board: tuple[str, str],
        series: tuple[str, ...],
        *,
        is_online: bool,
        sequence: int,
        clock_us: int,
        is_listening: bool,
    ) -> list[Staged]:
        """Take the word of a board's last will, or of its return.

        Parameters
        ----------
        board
            Its tank and name.
        series
            Those that it carries.
        sequence, clock_us
            Arrival number of the word, and the engine's clock then.
        is_listening
            Whether a delay may end by the clock alone.
        """
        delays = self._known[board][0] if board in self._known else DelayedAlarm(ON_DELAY_US, 0)
        self._known[board] = (delays, series)
        changes = delays.observe(at_us, sequence, clock_us, not is_online, is_online, is_listening)
        return [self._staged(board, change) for change in changes]

    def expire(self, clock_us: int) -> list[Staged]:
        """Let delays end by the clock."""
        found = []
        for board, (delays, _) in self._known.items():
            if delays.due_us == NEVER or delays.wakes_us > clock_us:
                continue
            if not delays.is_active and self._are_all_gone(board[0]):
                delays.postpone(ALL_GONE_DELAY_US)
            change = delays.expire(clock_us)
            if change is not None:
                found.append(self._staged(board, change))
        return found

    def _are_all_gone(self, tank: str) -> bool:
        """Whether a tank has several boards, and all of them are gone."""
        delays = [one for (place, _), (one, _) in self._known.items() if place == tank]
        return len(delays) > 1 and all(_is_gone(one) for one in delays)

    def offline(self, tank: str, at_us: int) -> dict[str, tuple[tuple[str, ...], int]]:
        """Boards of a tank that are gone at an instant: name -> their series and since when."""
        return {
            name: (series, delays.since_us)
            for (place, name), (delays, series) in self._known.items()
            if place == tank and _is_gone(delays) and delays.since_us + ON_DELAY_US <= at_us
        }

    def adopt(self, active: Iterable[AlarmRaised]) -> None:
        """Take over which boards were gone before a restart."""
        for raised in active:
            delays = DelayedAlarm(ON_DELAY_US, 0)
            delays.force(True, raised.first_evidence_us)
            self._known[raised.alarm.tank, raised.alarm.series] = (delays, raised.concerns)

    def _staged(self, board: tuple[str, str], change: Change) -> Staged:
        alarm = AlarmKey(*board, CAUSE)
        event: AlarmRaised | AlarmReturned
        if change.is_raised:
            concerns = self._known[board][1] or (board[1],)
            evidence = Evidence(since_us=change.since_us)
            event = AlarmRaised(change.at_us, alarm, Priority.HIGH, change.since_us, concerns, evidence)
        else:
            event = AlarmReturned(change.at_us, alarm)
        rank = RAISED if change.is_raised else RETURNED
        return Staged(change.order_us, change.sequence, change.at_us, rank, -1, ":".join(board), event)


def _is_gone(delays: DelayedAlarm) -> bool:
    """Whether its last word was its will, told or not; its return is told at once."""
    return delays.is_active or delays.due_us != NEVER
