"""What a database answers, and whose fault it is: the points', which are set aside, or the way's, which is waited for.

Answers of version 1 were given by InfluxDB 1.6.7 and are had from it anew in `tests/mirror/test_on_influxdb.py`.
Answers of version 2 are of the documented form (InfluxDB 2 API reference, POST /api/v2/write, and "Troubleshoot
issues writing data"), NOT run on a real version 2 server.
"""

# ruff: noqa: E501 - one answer a row
from __future__ import annotations

import pytest

from collector.database import NotTakenError, RefusedPointsError
from collector.database.answers import error_of


@pytest.mark.parametrize(
    ("status", "body", "dropped", "reason"),
    [
        # version 1, as seen
        (
            400,
            b'{"error":"partial write: field type conflict: input field \\"value\\" on measurement \\"reading\\" is type float, already exists as type integer dropped=2"}',
            2,
            'partial write: field type conflict: input field "value" on measurement "reading" is type float, already exists as type integer',
        ),
        (
            400,
            b'{"error":"partial write: points beyond retention policy dropped=1"}',
            1,
            "partial write: points beyond retention policy",
        ),
        (
            400,
            b'{"error":"partial write: unable to parse \'bad line\': invalid field format dropped=0"}',
            None,
            "partial write: unable to parse 'bad line': invalid field format",
        ),
        (
            400,
            b'{"error":"unable to parse \'reading value=NaN\': invalid number"}',
            None,
            "unable to parse 'reading value=NaN': invalid number",
        ),
        # version 2, as documented, not run
        (
            400,
            b'{"code":"invalid","line":2,"message":"no data written, errors encountered on line(s): error message for first bad line"}',
            None,
            "no data written, errors encountered on line(s): error message for first bad line",
        ),
        (
            400,
            b'{"code":"invalid","message":"partial write error (2 written): unable to parse \'air_sensor\': missing fields"}',
            None,
            "partial write error (2 written): unable to parse 'air_sensor': missing fields",
        ),
        (
            422,
            b'{"code":"unprocessable entity","message":"failure writing points to database: partial write: field type conflict: input field \\"value\\" on measurement \\"reading\\" is type float, already exists as type integer dropped=1"}',
            1,
            'failure writing points to database: partial write: field type conflict: input field "value" on measurement "reading" is type float, already exists as type integer',
        ),
        (
            422,
            b'{"code":"unprocessable entity","message":"points beyond retention policy dropped=5"}',
            5,
            "points beyond retention policy",
        ),
    ],
)
def test_fault_is_found_with_points(status: int, body: bytes, dropped: int | None, reason: str) -> None:
    error = error_of(status, body)
    assert isinstance(error, RefusedPointsError)
    assert (error.dropped, str(error)) == (dropped, reason)


@pytest.mark.parametrize(
    ("status", "body", "reason", "mend"),
    [
        # version 1, as seen
        (
            404,
            b'{"error":"database not found: \\"x\\""}',
            'the database answers 404: database not found: "x"',
            "database.bucket",
        ),
        (
            401,
            b'{"error":"authorization failed"}',
            "the database answers 401: authorization failed",
            "database.token_file",
        ),
        (500, b'{"error":"timeout"}', "the database answers 500: timeout", ""),
        # version 2, as documented, not run
        (
            401,
            b'{"code":"unauthorized","message":"unauthorized access"}',
            "the database answers 401: unauthorized access",
            "database.token_file",
        ),
        (
            404,
            b'{"code":"not found","message":"bucket \\"x\\" not found"}',
            'the database answers 404: bucket "x" not found',
            "database.bucket",
        ),
        (
            400,
            b'{"code":"invalid","message":"invalid precision; valid precision units are ns, us, ms, and s"}',
            "the database answers 400: invalid precision; valid precision units are ns, us, ms, and s",
            "database.api",
        ),
        (
            413,
            b'{"code":"request too large","message":"cannot read data: points in batch is too large"}',
            "the database answers 413: cannot read data: points in batch is too large",
            "limit",
        ),
        (
            503,
            b'{"code":"unavailable","message":"service unavailable"}',
            "the database answers 503: service unavailable",
            "",
        ),
        # neither: what stands before a database answers with pages
        (
            400,
            b"<html>400 The plain HTTP request was sent to HTTPS port</html>",
            "the database answers 400: <html>400 The plain HTTP request was sent to HTTPS port</html>",
            "database.address",
        ),
        (405, b"", "the database answers 405: it says no more", "another program"),
        (200, b"[]", "the database answers 200: []", "database.api"),
    ],
)
def test_fault_is_found_with_the_way(status: int, body: bytes, reason: str, mend: str) -> None:
    error = error_of(status, body)
    assert isinstance(error, NotTakenError)
    assert str(error) == reason
    assert (mend in error.mend) if mend else not error.mend


@pytest.mark.parametrize(
    ("given", "waited"),
    [("30", 30.0), ("86400", 600.0), ("-1", 0.0), ("Fri, 27 Nov 2026 07:00:00 GMT", 0.0), (None, 0.0)],
)
def test_a_database_may_ask_to_be_left_alone_for_a_while(given: str | None, waited: float) -> None:
    """Retry-After in seconds (RFC 9110, 10.2.3), ten minutes at most; a date is passed over."""
    error = error_of(429, b"{}", given)
    assert isinstance(error, NotTakenError)
    assert error.retry_after_s == waited


def test_what_is_too_large_or_too_slow_is_sent_in_smaller_parts() -> None:
    assert error_of(413, b"").is_slow
    assert error_of(500, b'{"error":"timeout"}').is_slow
    assert not error_of(503, b"").is_slow
