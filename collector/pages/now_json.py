"""What the page shows now, for scripts."""

from __future__ import annotations

from typing import Any

from collector.pages.moments import rfc3339
from collector.pages.now import Now, Row, TankNow
from collector.wording.usual import guards
from rules import DAYS_NEEDED, PoorFit, WeekProfile


def now_as_json(now: Now) -> dict[str, Any]:
    """The page as plain values: keys are part of what Brinebell promises to scripts.

    `at`, `sentence`, `broker` (null if not known: `connected`, `since`), `nothing_stored_since` (null while
    the store takes what comes), and per tank `tank`, `title`, `sentence`, `incidents` (`number`, `cause`,
    `priority`, `series`, `first_evidence`, `alarmed_at`, `text`), `planned_work` (`kind`, `from`, `to`,
    `settled`), `boards` (`name`, `online`, `since`), `equipment` (`equipment`, `failed`, `text`), `reservoir`
    (text, null if not known) and `series`:
    `series` ("tank/name"), `title`, `quantity`, `unit` (canonical; "" where the quantity has none),
    `value` (in that unit; null where nothing was measured), `observed_at`, `age_s`, `flag` (QARTOD),
    `quality`, `change_per_hour`, `silent`, `incidents` (numbers), and `usual`: null for a series of two
    states, else `state` ("known", "learning", "poor") with `low`, `high`, `coverage` and `pattern`, with
    `day` and `of`, or with `reason`; and what `guards` while it is not known. Instants are RFC 3339 in
    UTC.
    """
    state, broker = now.broker_state, None
    if state is not None:
        broker = {"connected": state.is_connected, "since": _instant(state.since_us)}
    return {
        "at": rfc3339(now.at_us),
        "sentence": now.sentence,
        "broker": broker,
        "nothing_stored_since": None if state is None else _instant(state.refused_since_us),
        "tanks": [_tank_as_json(tank, now.at_us) for tank in now.tanks],
    }


def _tank_as_json(tank: TankNow, now_us: int) -> dict[str, Any]:
    return {
        "tank": tank.name,
        "title": tank.title,
        "sentence": tank.sentence.text,
        "incidents": [
            {
                "number": one.incident.number,
                "cause": one.incident.cause,
                "priority": str(one.incident.priority),
                "series": [f"{tank.name}/{name}" for name in one.incident.series],
                "first_evidence": rfc3339(one.incident.first_evidence_us),
                "alarmed_at": rfc3339(one.incident.alarmed_at_us),
                "text": f"{one.title}\n{one.body}",
            }
            for one in tank.lasting
        ],
        "planned_work": [
            {
                "kind": one.work.kind,
                "from": rfc3339(one.work.from_us),
                "to": rfc3339(one.work.to_us),
                "settled": rfc3339(one.work.settled_us),
            }
            for one in tank.works
        ],
        "boards": [
            {"name": one.name, "online": one.is_online, "since": rfc3339(one.since_us)} for one in tank.boards
        ],
        "equipment": [
            {"equipment": one.key, "failed": one.has_failed, "text": one.text} for one in tank.equipment
        ],
        "reservoir": tank.reservoir or None,
        "series": [
            {
                "series": row.label.key,
                "title": row.label.title,
                "quantity": row.label.quantity,
                "unit": row.label.unit,
                "value": row.value,
                "observed_at": _instant(row.observed_us),
                "age_s": None if row.observed_us is None else max(0, now_us - row.observed_us) / 1e6,
                "flag": row.flag,
                "quality": row.quality,
                "change_per_hour": row.trend.per_hour,
                "silent": row.is_silent,
                "incidents": [one.number for one in row.incidents],
                "usual": _usual_as_json(row, now_us),
            }
            for row in tank.rows
        ],
    }


def _usual_as_json(row: Row, now_us: int) -> dict[str, Any] | None:
    rules = row.label.rules
    if rules is None or row.label.is_two_state:
        return None
    fitted = None if row.standing is None else row.standing.fitted
    if isinstance(fitted, WeekProfile):
        low, _, high = fitted.band_at(now_us)
        known = {"low": low, "high": high, "coverage": fitted.coverage, "pattern": fitted.pattern}
        return {"state": "known", **known, "guards": []}
    if isinstance(fitted, PoorFit):
        return {"state": "poor", "reason": fitted.reason, "guards": list(guards(rules))}
    day = min(DAYS_NEEDED, 1 + (0 if fitted is None else fitted.days))
    return {"state": "learning", "day": day, "of": DAYS_NEEDED, "guards": list(guards(rules))}


def _instant(at_us: int | None) -> str | None:
    return None if at_us is None else rfc3339(at_us)
