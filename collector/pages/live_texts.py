"""What changes on the page that shows now, by the key that its template gives each place."""

from __future__ import annotations

from collector.pages.labels import together
from collector.pages.now import Now


def live_texts(now: Now) -> dict[str, str]:
    """What the script of the page replaces, by the key that the template gives each place."""
    found = {"at": now.at, "sentence": now.sentence, "broker": now.broker, "shape": now.shape}
    for tank in now.tanks:
        found[f"{tank.name}:sentence"] = tank.sentence.text
        found[f"{tank.name}:reservoir"] = tank.reservoir
        found |= {f"{tank.name}:{one.key}:equipment": one.text for one in tank.equipment}
        for row in tank.rows:
            key = row.label.key
            found[f"{key}:value"] = row.value_text
            found[f"{key}:usual"] = row.usual
            found[f"{key}:trend"] = row.trend.text
            found[f"{key}:line"] = row.day.line
            found[f"{key}:band"] = row.day.band
            found[f"{key}:range"] = row.day.words
            found[f"{key}:quality"] = row.quality
            found[f"{key}:age"] = row.age
    return {key: together(text) for key, text in found.items()}
