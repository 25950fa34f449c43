"""A batch on its way: what the database refuses is found by halves, the rest goes through."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from collector.database import RefusedPointsError, Target


def send(
    target: Target, lines: Sequence[bytes], go_on: Callable[[], object] = lambda: None
) -> dict[int, str]:
    """Write lines; return why which of them were refused, by position.

    An answer tells how many points were refused, seldom which: the lines are sent again by halves. That costs
    nothing but time, for a point that is sent again overwrites itself.

    Parameters
    ----------
    target
        The database.
    lines
        One a point.
    go_on
        Called before each further request; may raise to give up.

    Raises
    ------
    NotTakenError
        If the database does not take the batch; some of it may be there.
    """
    refused: dict[int, str] = {}
    parts = [(0, len(lines))]
    is_first = True
    while parts:
        begin, end = parts.pop()
        if not is_first:
            go_on()
        is_first = False
        try:
            target.write(lines[begin:end])
        except RefusedPointsError as error:
            if end - begin == 1 or error.dropped == end - begin:
                refused |= dict.fromkeys(range(begin, end), str(error))
                continue
            middle = (begin + end) // 2
            parts += [(middle, end), (begin, middle)]
    return refused
