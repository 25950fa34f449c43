"""Can the page be served where the configuration says?"""

from __future__ import annotations

import socket
from collections.abc import Iterator

from collector.checks.finding import Finding, Verdict
from collector.configuration import PageConfiguration

_PART = "page"


def check_page(configuration: PageConfiguration) -> Iterator[Finding]:
    """Try to listen there, for an instant."""
    where = f"{configuration.host}:{configuration.port}"
    if not configuration.enabled:
        yield Finding(_PART, Verdict.NOTE, "not served, since page.enabled is false")
        return
    try:
        for family, kind, protocol, _, address in socket.getaddrinfo(
            configuration.host, configuration.port, type=socket.SOCK_STREAM, flags=socket.AI_PASSIVE
        )[:1]:
            with socket.socket(family, kind, protocol) as trial:
                trial.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
                trial.bind(address)
                trial.listen(1)
    except OSError as error:
        yield Finding(
            _PART,
            Verdict.NOTE,
            f"{where} cannot be listened at now ({error.strerror})",
            "well if the service is running and has it; else give page.listen an address of this machine "
            "and a free port",
        )
    else:
        yield Finding(_PART, Verdict.WELL, f"http://{where} is free to be served")
    if not configuration.is_local:
        yield Finding(
            _PART,
            Verdict.NOTE,
            "other machines reach it, and everybody must be known; on this port nothing is encrypted",
            "well in a network of your own; from outside use a VPN or a reverse proxy with TLS, and never "
            "open the port to the internet",
        )
    if configuration.public_url is None:
        yield Finding(
            _PART,
            Verdict.NOTE,
            "messages will not tell where to look",
            "set page.public_url to an address that a phone can reach, if there is one",
        )
