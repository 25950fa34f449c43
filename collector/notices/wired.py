"""All notices of a service, wired to what each of them watches."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import NamedTuple

from collector.configuration import Configuration
from collector.mirror import MirrorHealth
from collector.notices.broker_away import NOTE as BROKER_NOTE
from collector.notices.broker_away import BrokerAway
from collector.notices.mirror_behind import AWAY_NOTE as DATABASE_AWAY_NOTE
from collector.notices.mirror_behind import REFUSED_NOTE as DATABASE_REFUSES_NOTE
from collector.notices.mirror_behind import MirrorBehind
from collector.notices.missed import Missed
from collector.notices.notice import Notices
from collector.notices.outage import NOTE as OUTAGE_NOTE
from collector.notices.outage import Outage
from collector.notices.store_refuses import NOTE as STORE_NOTE
from collector.notices.store_refuses import StoreRefuses
from collector.notices.work_over import NOTE as WORK_NOTE
from collector.notices.work_over import WorkOver
from collector.telling import Person
from rules import PlannedWork, Suppressed


class Watched(NamedTuple):
    """What notices watch of a service.

    Parameters
    ----------
    lived_us, now_us
        When it lived last before this start, None if it never did, and now.
    begun_us, missed
        As `Outage`.
    refused_since_us
        Since when the store takes nothing, None while it does.
    works, suppressed
        What is planned, and what is suppressed by design.
    mirror_health
        How the mirror is; None without one.
    """

    lived_us: int | None
    now_us: int
    begun_us: Callable[[], int | None]
    missed: Callable[[int, int], Missed]
    refused_since_us: Callable[[], int | None]
    works: Callable[[], Sequence[PlannedWork]]
    suppressed: Callable[[], Sequence[Suppressed]]
    mirror_health: Callable[[], MirrorHealth] | None


def notices_of(
    configuration: Configuration,
    note: Callable[[str], str | None],
    people: Sequence[Person],
    watched: Watched,
) -> Notices:
    """What a service tells of itself, in the time zone of its first tank; `note` recalls what was told."""
    zone = configuration.tanks[0].rules.time_zone
    mqtt, database = configuration.mqtt, configuration.database
    mirror = []
    if watched.mirror_health is not None and database is not None:
        told = note(DATABASE_AWAY_NOTE), note(DATABASE_REFUSES_NOTE)
        mirror.append(MirrorBehind(told, watched.mirror_health, zone, database.outage_after_us))
    return Notices(
        [
            Outage(
                note(OUTAGE_NOTE),
                watched.lived_us,
                watched.now_us,
                zone,
                configuration.outage_after_us,
                watched.missed,
                watched.begun_us,
            ),
            BrokerAway(note(BROKER_NOTE), f"{mqtt.host}:{mqtt.port}", zone, mqtt.outage_after_us),
            StoreRefuses(note(STORE_NOTE), zone, watched.refused_since_us),
            WorkOver(note(WORK_NOTE), configuration, watched.works, watched.suppressed),
            *mirror,
        ],
        people,
        zone,
    )
