"""InfluxDB 2, and what takes its writes, through influxdb-client: its write service, and Flux.

Only this module knows influxdb-client, and only who has a database imports it: 12 MB, and a third of a second
on the machine of `tests/bench/README.md`.
"""

from __future__ import annotations

import gzip
from collections.abc import Iterable, Sequence
from datetime import UTC, datetime, timedelta
from typing import Any

import numpy as np
import urllib3
from influxdb_client.client.influxdb_client import InfluxDBClient
from influxdb_client.domain.dialect import Dialect
from influxdb_client.rest import ApiException
from influxdb_client.service.write_service import WriteService

from collector.configuration import DatabaseConfiguration
from collector.database.answers import error_of
from collector.database.days import days
from collector.database.lines import FLAG, MEASUREMENT, VALUE
from collector.database.reaching import CONNECT_S, TIMEOUT_S, not_reached
from collector.database.target import NotTakenError
from collector.database.version1 import GZIP_LEVEL
from collector.errors import DatabaseError
from collector.store import Readings
from rules import MICROSECONDS

_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
_MICROSECOND = timedelta(microseconds=1)
# Annotations tell the types of columns, which we know, and where a table begins: a header does that, too.
_DIALECT: Any = Dialect(  # type: ignore[no-untyped-call]
    header=True, annotations=["datatype"], delimiter=",", date_time_format="RFC3339Nano"
)


class Version2:
    """One bucket of an InfluxDB 2: a `Target` and a `Past`.

    Parameters
    ----------
    configuration
        With `api` "v2".
    timeout_s
        How long an answer may take.
    """

    def __init__(self, configuration: DatabaseConfiguration, *, timeout_s: float = TIMEOUT_S) -> None:
        self._address, self._bucket = configuration.address, configuration.bucket
        # What needs no token needs no organization, but the client wants one.
        self._org = configuration.org or "-"
        self._gzip = configuration.gzip
        self._client: Any = InfluxDBClient(
            url=configuration.address,
            token=configuration.token or "",
            org=self._org,
            timeout=(round(min(CONNECT_S, timeout_s) * 1000), round(timeout_s * 1000)),
            ssl_ca_cert=None if configuration.ca_file is None else str(configuration.ca_file),
        )
        self._writes: Any = WriteService(self._client.api_client)  # type: ignore[no-untyped-call]

    def write(self, lines: Sequence[bytes]) -> None:
        """See `Target`."""
        body = b"\n".join(lines) + b"\n"
        # Compressed here: the client knows the highest level alone, ten times as slow for a tenth less.
        packed = {"body": gzip.compress(body, GZIP_LEVEL), "content_encoding": "gzip"}
        self._ask(
            lambda: self._writes.post_write(
                org=self._org,
                bucket=self._bucket,
                precision="ns",
                content_type="text/plain; charset=utf-8",
                **(packed if self._gzip else {"body": body}),
            )
        )

    def readings(self, tank: str, series: str, start_us: int, end_us: int) -> Readings:
        """See `Past`."""
        times: list[int] = []
        values: list[float] = []
        flags: list[int] = []
        for first_us, last_us in days(start_us, end_us):
            question = flux(self._bucket, tank, series, first_us, last_us)
            rows = self._ask(
                lambda asked=question: self._client.query_api().query_csv(asked, dialect=_DIALECT)
            )
            for time_us, value, flag in self._ask(lambda found=rows: list(read_rows(found))):
                times.append(time_us)
                values.append(value)
                flags.append(flag)
        return Readings(np.array(times, np.int64), np.array(values, np.float64), np.array(flags, np.uint8))

    def close(self) -> None:
        """See `Target`."""
        self._client.close()

    def _ask(self, ask: Any) -> Any:
        try:
            return ask()
        except ApiException as error:
            if not error.status:
                # What went wrong with TLS, as the client wraps it.
                cause = error.__context__
                if isinstance(cause, urllib3.exceptions.HTTPError):
                    raise not_reached(self._address, cause) from error
                raise NotTakenError(f"{self._address} cannot be asked ({error.reason})") from error
            # Their types depend on how far the client had come.
            body: Any = error.body or b""
            headers: Any = error.headers or {}
            raw = body.encode() if isinstance(body, str) else bytes(body)
            raise error_of(int(error.status), raw, headers.get("Retry-After")) from error
        except urllib3.exceptions.HTTPError as error:
            raise not_reached(self._address, error) from error


def flux(bucket: str, tank: str, series: str, start_us: int, end_us: int) -> str:
    """The question for the readings of a series: one row an instant, with both fields."""
    return (
        f"from(bucket: {_text(bucket)})"
        f" |> range(start: {_instant(start_us)}, stop: {_instant(end_us)})"
        f' |> filter(fn: (r) => r._measurement == "{MEASUREMENT}"'
        f" and r.tank == {_text(tank)} and r.series == {_text(series)})"
        ' |> pivot(rowKey: ["_time"], columnKey: ["_field"], valueColumn: "_value")'
        f' |> keep(columns: ["_time", "{VALUE}", "{FLAG}"])'
        ' |> sort(columns: ["_time"])'
    )


def read_rows(lines: Iterable[Sequence[str]]) -> Iterable[tuple[int, float, int]]:
    """Instant in microseconds, value and flag of each row of annotated CSV.

    Raises
    ------
    DatabaseError
        If the answer holds an error table, or is no such answer.

    References
    ----------
    InfluxDB 2 reference, "Annotated CSV": annotation rows begin with #, a header row names the columns, an
    empty row ends a table, and an error comes as a table with the columns error and reference.
    """
    columns: dict[str, int] | None = None
    for line in lines:
        if not any(line) or line[0].startswith("#"):
            columns = None
        elif columns is None:
            columns = {name: at for at, name in enumerate(line) if name}
            if "error" not in columns and not {"_time", FLAG} <= columns.keys():
                raise DatabaseError(f"the database answers no readings: {', '.join(columns)[:100]}")
        elif "error" in columns:
            raise DatabaseError(f"the database answers: {line[columns['error']]}")
        else:
            at = columns.get(VALUE)
            value = "" if at is None else line[at]
            yield (
                _microseconds(line[columns["_time"]]),
                float(value) if value else np.nan,
                int(line[columns[FLAG]] or 9),
            )


def _microseconds(text: str) -> int:
    return (datetime.fromisoformat(text) - _EPOCH) // _MICROSECOND


def _instant(at_us: int) -> str:
    """A time of Flux (RFC 3339)."""
    seconds, rest = divmod(at_us, MICROSECONDS)
    return f"{_EPOCH + timedelta(seconds=seconds):%Y-%m-%dT%H:%M:%S}.{rest:06}Z"


def _text(name: str) -> str:
    """A text of Flux."""
    return '"' + name.replace("\\", "\\\\").replace('"', '\\"') + '"'
