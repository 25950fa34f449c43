"""`[database]` resolved: an address, one way to log in, and durations."""

from __future__ import annotations

from pathlib import Path
from urllib.parse import urlsplit

from collector.configuration import DatabaseConfiguration
from collector.settings.database_model import DatabaseSettings
from collector.settings.secrets import SecretFiles
from collector.settings.section import Section
from collector.settings.suggestions import instead_of
from rules import MICROSECONDS

APIS = ("v1", "v2")
# A day without a batch would be an outage; less than a second is no batch.
_INTERVAL_S = (1, 3600)


def resolve_database(
    section: Section, settings: DatabaseSettings | None, secrets: SecretFiles, folder: Path
) -> DatabaseConfiguration | None:
    """The database, None where there is none; mistakes are noted."""
    if settings is None:
        return None
    if settings.api not in APIS:
        section.wrong("api", instead_of(settings.api, APIS), settings.api)
    _check_address(section, settings.address)
    if not settings.bucket or settings.bucket.count("/") > (settings.api == "v1"):
        section.wrong(
            "bucket",
            "the name of a bucket is needed; for v1 that of a database, or database/retention policy",
            settings.bucket,
        )
    ca_file = None if settings.ca_file is None else folder / Path(settings.ca_file).expanduser()
    if ca_file is not None and not ca_file.is_file():
        section.wrong("ca_file", f"there is no such file; names are relative to {folder}", settings.ca_file)
    elif ca_file is not None and not settings.address.startswith("https://"):
        section.wrong("ca_file", "means nothing without https:// in address", settings.ca_file)
    interval_us = section.duration(
        "interval", settings.interval, least_s=_INTERVAL_S[0], most_s=_INTERVAL_S[1]
    )
    outage_us = section.duration("outage_after", settings.outage_after, least_s=60)
    return DatabaseConfiguration(
        address=settings.address.rstrip("/"),
        api=settings.api,
        org=settings.org,
        bucket=settings.bucket,
        token=_token(section, settings, secrets),
        ca_file=ca_file,
        gzip=settings.gzip,
        interval_s=(interval_us or 0) / MICROSECONDS,
        outage_after_us=outage_us or 0,
    )


def _check_address(section: Section, address: str) -> None:
    """It is not shown: a user or a password may stand in it."""
    try:
        parts = urlsplit(address)
        is_right = (
            parts.scheme in ("http", "https")
            and bool(parts.hostname)
            and parts.port != 0
            and "@" not in parts.netloc
            and parts.path in ("", "/")
            and not parts.query
            and not parts.fragment
        )
    except ValueError:
        is_right = False
    if not is_right or not address.isascii() or any(sign.isspace() for sign in address):
        section.wrong(
            "address",
            'an address with nothing behind host and port is needed, such as "http://127.0.0.1:8086"; '
            "bucket and token have keys of their own",
        )


def _token(section: Section, settings: DatabaseSettings, secrets: SecretFiles) -> str | None:
    """What logs in, from the environment or else from its file."""
    if settings.token is not None:
        key, token = "token", settings.token.get_secret_value() or None
        if token is None or not token.isprintable():
            section.wrong(key, "one line of text is needed")
    elif settings.token_file is not None:
        key, token = "token_file", secrets.password((*section.path, "token_file"), settings.token_file)
    else:
        return None
    if token is not None and settings.api == "v1" and ":" not in token:
        section.wrong(key, "for v1 this is a user, a colon and a password: user:password")
    if settings.api == "v2" and not settings.org:
        section.wrong("org", "is missing: a token belongs to an organization, whose name stands here")
    return token
