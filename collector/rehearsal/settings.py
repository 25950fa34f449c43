"""The configuration of a rehearsal: the user's own, beside the service that watches the real tank.

It has a store, a page and a session of its own, and hears topics of its own; nothing of it reaches what the
real service keeps or publishes. What it tells begins with a word that nobody takes for the real thing.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

from collector.configuration import (
    Configuration,
    PersonConfiguration,
    SeriesConfiguration,
    SourceConfiguration,
    StoreConfiguration,
)
from rules import HOUR_US

# Nobody's boards publish there.
TOPIC = "brinebell-rehearsal"
OPENING = "Rehearsal: "
# At many times the speed minutes pass while it starts; that is no outage.
_NO_OUTAGE_US = 365 * 24 * HOUR_US


def topic_of(tank: str) -> str:
    """Where the readings of a tank are played."""
    return f"{TOPIC}/{tank}"


def rehearsed(
    configuration: Configuration, folder: Path, page_port: int, urls: Sequence[str] | None
) -> Configuration:
    """The configuration of a rehearsal.

    Parameters
    ----------
    folder
        For its store.
    urls
        Where everybody's rings go instead; None for where they really go.
    """
    names: dict[str, list[str]] = {}
    for one in configuration.series:
        names.setdefault(one.tank, []).append(one.name)
    sources = tuple(
        SourceConfiguration(topic_of(tank), "senml", tank, values={name: name for name in own})
        for tank, own in names.items()
    )
    people = configuration.people
    if urls is not None:
        people = tuple(_elsewhere(one, urls) for one in people) or (
            PersonConfiguration("whoever is on duty", tuple(urls)),
        )
    return replace(
        configuration,
        mqtt=replace(
            configuration.mqtt,
            client_id=f"{configuration.mqtt.client_id}-rehearsal",
            publishes=False,
            takes_requests=False,
            outage_after_us=_NO_OUTAGE_US,
        ),
        store=StoreConfiguration(folder, 0.0),
        page=replace(configuration.page, host="127.0.0.1", port=page_port, public_url=None),
        people=people,
        series=tuple(map(_arriving, configuration.series)),
        sources=sources,
        boards=(),
        telling=replace(configuration.telling, test_ring="never", opening=OPENING),
        sign_of_life_url=None,
        outage_after_us=_NO_OUTAGE_US,
    )


def _elsewhere(person: PersonConfiguration, urls: Sequence[str]) -> PersonConfiguration:
    return replace(person, urls=tuple(urls), own={}, shared=None)


def _arriving(series: SeriesConfiguration) -> SeriesConfiguration:
    """A series as it is played: recorded values are canonical, whatever probes send."""
    return replace(
        series,
        unit=None,
        words={},
        is_inverted=False,
        reference=None,
        calibration=None,
        level_table=None,
        temperature_from=None,
        derived_from=None,
    )
