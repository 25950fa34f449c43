"""InfluxDB 1 and what speaks as it does: lines to /write, InfluxQL to /query."""

from __future__ import annotations

import gzip
from collections.abc import Sequence
from typing import Any
from urllib.parse import urlencode

import numpy as np
import orjson
import urllib3

from collector.configuration import DatabaseConfiguration
from collector.database.answers import error_of
from collector.database.days import days
from collector.database.lines import FLAG, MEASUREMENT, VALUE
from collector.database.reaching import CONNECT_S, TIMEOUT_S, not_reached
from collector.errors import DatabaseError
from collector.store import Readings

# Most of what can be had for a tenth of the time of the highest level.
GZIP_LEVEL = 1


class Version1:
    """One database of an InfluxDB 1: a `Target` and a `Past`.

    Parameters
    ----------
    configuration
        With `api` "v1".
    timeout_s
        How long an answer may take.
    """

    def __init__(self, configuration: DatabaseConfiguration, *, timeout_s: float = TIMEOUT_S) -> None:
        self._address = configuration.address
        self._database, _, self._policy = configuration.bucket.partition("/")
        self._gzip = configuration.gzip
        self._headers = {}
        if configuration.token is not None:
            self._headers = urllib3.make_headers(basic_auth=configuration.token)
        self._pool = urllib3.PoolManager(
            timeout=urllib3.Timeout(connect=min(CONNECT_S, timeout_s), read=timeout_s),
            retries=False,
            ca_certs=None if configuration.ca_file is None else str(configuration.ca_file),
        )

    def write(self, lines: Sequence[bytes]) -> None:
        """See `Target`."""
        body = b"\n".join(lines) + b"\n"
        headers = {**self._headers, "Content-Type": "text/plain; charset=utf-8"}
        if self._gzip:
            body = gzip.compress(body, GZIP_LEVEL)
            headers["Content-Encoding"] = "gzip"
        where = {"db": self._database, "precision": "ns"} | ({"rp": self._policy} if self._policy else {})
        status, answer, retry_after = self._ask("POST", f"/write?{urlencode(where)}", headers, body)
        # 200 is an error of a kind: the request was read, and nothing written.
        if status != 204:
            raise error_of(status, answer, retry_after)

    def readings(self, tank: str, series: str, start_us: int, end_us: int) -> Readings:
        """See `Past`."""
        rows: list[list[Any]] = []
        for first_us, last_us in days(start_us, end_us):
            rows += self._rows(
                # Names are quoted, and the rest are numbers.
                f"SELECT {VALUE}, {FLAG} FROM {self._source()} WHERE"  # noqa: S608
                f' tank = {_text(tank)} AND "series" = {_text(series)}'
                f" AND time >= {first_us * 1000} AND time < {last_us * 1000}"
            )
        return Readings(
            np.array([row[0] for row in rows], np.int64),
            np.array([row[1] for row in rows], np.float64),
            np.array([9 if row[2] is None else row[2] for row in rows], np.uint8),
        )

    def close(self) -> None:
        """See `Target`."""
        self._pool.clear()

    def _source(self) -> str:
        measurement = f'"{MEASUREMENT}"'
        return f'"{self._policy}".{measurement}' if self._policy else measurement

    def _rows(self, question: str) -> list[list[Any]]:
        """The rows of the one series that an InfluxQL question is about."""
        where = urlencode({"db": self._database, "epoch": "u", "q": question})
        status, answer, retry_after = self._ask("GET", f"/query?{where}", self._headers, None)
        if status != 200:
            raise error_of(status, answer, retry_after)
        try:
            results = orjson.loads(answer)["results"]
        except (orjson.JSONDecodeError, KeyError, TypeError) as error:
            raise DatabaseError(f"{self._address}/query does not answer as InfluxDB 1 does") from error
        rows: list[list[Any]] = []
        for result in results:
            if "error" in result:
                raise DatabaseError(f"the database answers: {result['error']}")
            for found in result.get("series", ()):
                rows += found["values"]
        return rows

    def _ask(
        self, method: str, path: str, headers: dict[str, str], body: bytes | None
    ) -> tuple[int, bytes, str | None]:
        try:
            answer = self._pool.request(method, self._address + path, headers=headers, body=body)
        except urllib3.exceptions.HTTPError as error:
            raise not_reached(self._address, error) from error
        return answer.status, answer.data, answer.headers.get("Retry-After")


def _text(name: str) -> str:
    """A text of InfluxQL."""
    return "'" + name.replace("\\", "\\\\").replace("'", "\\'") + "'"
