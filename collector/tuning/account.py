"""What a search found, as people and programs read it."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence

from collector.account import rfc3339
from collector.replay import incident_line
from collector.tuning.candidates import Candidate
from collector.tuning.choosing import Chosen, Tried
from collector.tuning.parameters import Parameter
from collector.wording.times import duration_text
from rules import HOUR_US, Weights


def tuned_object(chosen: Chosen, parameters: Sequence[Parameter], weights: Weights) -> dict[str, object]:
    """The object that `--json` prints; delays are hours, costs in hours of delay, None for as it is."""
    held = chosen.held_out
    return {
        "keys": [one.key for one in parameters],
        "before": _tried_object(chosen.before, weights, is_before=True),
        "best": _tried_object(chosen.best, weights, is_before=chosen.best is chosen.before),
        "is_changed": chosen.best is not chosen.before,
        "trade_off": [_tried_object(one, weights, is_before=one is chosen.before) for one in chosen.front],
        "one_step_beside": [{"values": list(one), "cost": cost} for one, cost in chosen.beside],
        "held_out": None
        if held is None
        else {
            "values": list(held.candidate),
            "before": held.before,
            "after": held.after,
            "is_gain": held.is_gain,
        },
    }


def _tried_object(tried: Tried, weights: Weights, *, is_before: bool) -> dict[str, object]:
    return {
        "values": None if is_before else list(tried.candidate),
        "cost": tried.cost(weights),
        "delay_h": None if math.isnan(tried.delay_hours) else tried.delay_hours,
        "missed": tried.missed,
        "false": tried.false,
        "rings_at_night": tried.nights,
        "weeks": [
            [
                {"alarmed_at": rfc3339(one.alarmed_at_us), "cause": one.cause, "priority": str(one.priority)}
                for one in week.incidents
            ]
            for week in tried.weeks
        ],
    }


def tuned_lines(chosen: Chosen, weights: Weights, patch: str, count: int) -> Iterator[str]:
    """The trade-off, what to take, how sure that is, and what it changes."""
    yield f"{count} settings tried; cost in hours of delay, less is better:"
    yield ""
    yield f"  {'false':>5}  {'missed':>6}  {'mean delay':>11}  {'at night':>8}  {'cost':>7}  values"
    for one in chosen.front:
        yield _front_line(one, chosen, weights)
    if chosen.before not in chosen.front:
        yield _front_line(chosen.before, chosen, weights)
    if chosen.best not in chosen.front and chosen.best is not chosen.before:
        yield _front_line(chosen.best, chosen, weights)
    yield ""
    if chosen.best is chosen.before:
        yield "Nothing that was tried is better than the settings as they are: leave them."
        return
    saved = chosen.before.cost(weights) - chosen.best.cost(weights)
    yield f"Best: {values_text(chosen.best.candidate)}, {saved:.1f} h less than as it is."
    for line in beside_lines(chosen, weights):
        yield f"  one step beside, {line}"
    yield held_out_text(chosen)
    yield ""
    yield "What changes in these weeks:"
    yield from changes(chosen)
    yield ""
    yield patch


def beside_lines(chosen: Chosen, weights: Weights) -> Iterator[str]:
    """What one step to a side costs."""
    for candidate, cost in chosen.beside:
        more = cost - chosen.best.cost(weights)
        yield f"{values_text(candidate)}: {'as good' if more <= 0 else f'{more:.1f} h more'}"


def _front_line(tried: Tried, chosen: Chosen, weights: Weights) -> str:
    delay = "-" if math.isnan(tried.delay_hours) else duration_text(round(tried.delay_hours * HOUR_US))
    values = "as it is" if tried is chosen.before else values_text(tried.candidate)
    mark = "  <- best" if tried is chosen.best else ""
    figures = f"{tried.false:>5}  {tried.missed:>6}  {delay:>11}  {tried.nights:>8}"
    return f"  {figures}  {tried.cost(weights):>7.1f}  {values}{mark}"


def held_out_text(chosen: Chosen) -> str:
    """Whether the choice holds for weeks that it was not made on."""
    held = chosen.held_out
    if held is None:
        return "It cannot be tried on other weeks: something must be the matter in two weeks at least."
    if held.is_gain:
        return (
            f"Chosen on every other week, it holds for the weeks between: {held.before:.1f} h as it is, "
            f"{held.after:.1f} h so."
        )
    return (
        f"No gain beyond these weeks: chosen on every other week, the weeks between cost {held.after:.1f} h, "
        f"{held.before:.1f} h as it is. Record more before you take it."
    )


def changes(chosen: Chosen) -> Iterator[str]:
    """Incidents that are gone with the best settings, and those that are new."""
    lines = []
    pairs = zip(chosen.before.weeks, chosen.best.weeks, strict=True)
    for number, weeks in enumerate(pairs, start=1):
        was, now = ({(one.cause, one.alarmed_at_us): one for one in week.incidents} for week in weeks)
        lines += [(number, key[1], "gone", one) for key, one in was.items() if key not in now]
        lines += [(number, key[1], "new", one) for key, one in now.items() if key not in was]
    if not lines:
        yield "  no incident"
    for number, _, mark, incident in sorted(lines, key=lambda line: line[:3]):
        yield f"  week {number}  {mark:4}  {incident_line(incident)}"


def values_text(candidate: Candidate) -> str:
    """The values of a setting."""
    return ", ".join(candidate)
