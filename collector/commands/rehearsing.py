"""`brinebell replay --speed`: a recording played into the broker as live messages."""

from __future__ import annotations

import argparse
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collector.configuration import Configuration


def rehearsed(arguments: argparse.Namespace, configuration: Configuration) -> int:
    """Play what `brinebell replay` was given, or say what of it does not go with a rehearsal."""
    from collector.commands.replay import recording_of
    from collector.errors import ConfigError
    from collector.rehearsal import Rehearsal, rehearse
    from collector.replay import incident_line

    if arguments.speed is None:
        raise ConfigError("--ring goes with --speed: a replay rings nobody")
    if not arguments.speed > 0:
        raise ConfigError(f"--speed {arguments.speed:g}: above 0; 60 plays an hour in a minute")
    if not arguments.files or arguments.config is None:
        raise ConfigError("--speed needs a recording and --config: the broker of that is played into")
    given = {
        "--json": arguments.json,
        "--explain": arguments.explain is not None,
        "--report": arguments.report,
        "--truth": arguments.truth,
        "--plan": arguments.plan,
        "--learn": arguments.learn,
        "--database": arguments.database,
    }
    for name, is_given in given.items():
        if is_given:
            raise ConfigError(f"{name} goes with a replay, not with a rehearsal (--speed)")
    recording = recording_of(arguments.files, arguments, configuration)
    if not len(recording):
        raise ConfigError("there is no reading in it that could be played")
    incidents = rehearse(
        Rehearsal(recording, configuration, arguments.config, arguments.speed, arguments.ring)
    )
    print(f"{len(incidents)} incident{'' if len(incidents) == 1 else 's'} in the list of the rehearsal.")
    for incident in incidents:
        print(incident_line(incident))
    return 0
