"""The keys of `[database]`: a time-series database that has every reading, beside the store."""

from __future__ import annotations

from pydantic import SecretStr

from collector.settings.table import Table, key, required


class DatabaseSettings(Table):
    """Where the time-series database is and how to log in."""

    address: str = required(
        "where the database is; all readings are sent there, the store stays the journal",
        like='"http://127.0.0.1:8086"',
    )
    api: str = key(
        'what it speaks: "v2" as InfluxDB 2 does (writes through influxdb-client, reads by Flux), or "v1" as '
        "InfluxDB 1 does (/write, and InfluxQL at /query)",
        "v2",
        like='"v2"',
    )
    org: str = key("organization at an InfluxDB 2", "", like='"home"')
    bucket: str = key(
        "bucket for the readings, which must be there; for v1 the database, or database/retention policy",
        "brinebell",
        like='"brinebell"',
    )
    token_file: str | None = key(
        'file that holds the token and nothing else, for v1 "user:password"; keep it readable by the service '
        "alone",
        like='"database.token"',
    )
    token: SecretStr | None = key("the token: from the environment only, never in this file", like="")
    ca_file: str | None = key(
        "certificate authority of the database, PEM; without it the system's own list", like='"ca.pem"'
    )
    gzip: bool = key("whether what is sent is compressed", default=True, like="true")
    interval: str = key(
        "time between two batches; what is in arrears goes at full speed",
        "10 s",
        like='"10 s"',
        unit="duration",
    )
    outage_after: str = key(
        "a database that cannot be reached, or refuses, for longer is told, with low priority",
        "1 day",
        like='"1 day"',
        unit="duration",
    )
