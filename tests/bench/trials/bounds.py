"""What was measured, as numbers that a test holds the engine to. Has it become worse?

The short form plays a part of the seeds of the long one. Where the recorded series lie beside the
checkout, its trials are the very ones that were measured, so no count may be worse. Elsewhere the texture
is another one and the trials differ: there each count must be one that the rate measured in the long form
allows (binomial, or Poisson for rings of quiet months, with a chance of less than one in ten thousand of
failing by bad luck).
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from scipy import stats

from tests.bench.trials.tables import quantile
from tests.bench.trials.trial import Month, Verdict

FILE = Path(__file__).resolve().parent.parent / "trials.json"
CHANCE = 1e-4
_COUNTS = ("caught", "right", "family", "named")


def summary(verdicts: Sequence[Verdict], months: Sequence[Month]) -> dict[str, Any]:
    """Counts by fault and set of series, and rings of the quiet months."""
    found: dict[str, Any] = {"faults": {}, "quiet": {}}
    for key in dict.fromkeys(f"{v.fault}/{v.sensors}" for v in verdicts):
        group = [v for v in verdicts if f"{v.fault}/{v.sensors}" == key]
        delays = [v.delay for v in group if v.delay is not None]
        median = quantile(delays, 0.5, len(group))
        found["faults"][key] = {
            "n": len(group),
            "caught": sum(v.is_caught for v in group),
            "right": sum(v.is_right_later for v in group),
            "family": sum(v.is_family_later for v in group),
            "named": sum(v.is_named for v in group),
            "median_minutes": None if median is None else round(median, 1),
        }
    for sensors in dict.fromkeys(m.sensors for m in months):
        rings = [ring for m in months if m.sensors == sensors for ring in m.rings]
        found["quiet"][sensors] = {
            "months": sum(m.sensors == sensors for m in months),
            "rings": len(rings),
            "urgent": sum(priority == "urgent" for _, priority, _, _, _ in rings),
        }
    return found


def write(form: str, found: dict[str, Any], said: str) -> None:
    """Keep a summary as what was measured with a form."""
    kept = json.loads(FILE.read_text(encoding="utf-8")) if FILE.exists() else {}
    kept[form] = {"measured": said, **found}
    FILE.write_text(json.dumps(kept, indent=1, sort_keys=True) + "\n", encoding="utf-8")


def measured(*forms: str) -> dict[str, Any]:
    """What was measured with the first of these forms that has been."""
    kept = json.loads(FILE.read_text(encoding="utf-8"))
    return dict(next(kept[form] for form in forms if form in kept))


def worse(found: dict[str, Any], before: dict[str, Any]) -> list[str]:
    """What is worse than it was on the very same trials; nothing is the answer that is wanted."""
    told = []
    for key, old in before["faults"].items():
        new = found["faults"].get(key)
        if new is None or new["n"] != old["n"]:
            told.append(f"{key}: not tried as before")
            continue
        told += [f"{key}: {name} {new[name]}, was {old[name]}" for name in _COUNTS if new[name] < old[name]]
        slow, was = new["median_minutes"], old["median_minutes"]
        # A step of the engine's grid is five minutes.
        if was is not None and (slow is None or slow > was + 5.0):
            told.append(f"{key}: median {slow} min, was {was}")
    for sensors, old in before["quiet"].items():
        new = found["quiet"][sensors]
        told += [
            f"quiet, {sensors}: {name} {new[name]}, was {old[name]}"
            for name in ("rings", "urgent")
            if new[name] > old[name]
        ]
    return told


def unlikely(found: dict[str, Any], long: dict[str, Any]) -> list[str]:
    """What the rates of the long form do not explain."""
    told = []
    for key, new in found["faults"].items():
        old = long["faults"][key]
        for name in _COUNTS:
            # A trial more of either kind: what never failed in n trials may fail in the next.
            share = min(old[name], old["n"] - 0.5) / old["n"] if old["n"] else 0.0
            if stats.binom.cdf(new[name], new["n"], share) < CHANCE:
                told.append(
                    f"{key}: {name} {new[name]} of {new['n']}, {old[name]} of {old['n']} in the long form"
                )
    for sensors, new in found["quiet"].items():
        old = long["quiet"][sensors]
        for name in ("rings", "urgent"):
            mean = (old[name] + 0.5) / old["months"] * new["months"]
            if stats.poisson.sf(new[name] - 1, mean) < CHANCE:
                told.append(f"quiet, {sensors}: {name} {new[name]} in {new['months']}, {mean:.1f} expected")
    return told
