"""Why a database could not be asked, in plain words, and how long an answer may take."""

from __future__ import annotations

import ssl

import urllib3

from collector.database.target import NotTakenError

# A server on the same Raspberry Pi may compact for half a minute; longer is no answer.
TIMEOUT_S = 30.0
CONNECT_S = 5.0


def not_reached(address: str, error: urllib3.exceptions.HTTPError) -> NotTakenError:
    """What an error below HTTP means."""
    if isinstance(error, urllib3.exceptions.ReadTimeoutError):
        return NotTakenError(f"{address} did not answer in time", is_slow=True)
    if isinstance(error, urllib3.exceptions.ConnectTimeoutError) and not isinstance(
        error, urllib3.exceptions.NewConnectionError
    ):
        return NotTakenError(
            f"{address} does not answer", "look at the network, and at a firewall in between"
        )
    if isinstance(error, urllib3.exceptions.SSLError):
        cause = _cause(error)
        if isinstance(cause, ssl.SSLCertVerificationError):
            return NotTakenError(
                f"the certificate of {address} is not trusted ({cause.verify_message})",
                "name the authority that signed it in database.ca_file; the name in database.address must be "
                "that of the certificate",
            )
        return NotTakenError(
            f"{address} does not speak TLS as we do ({cause})",
            "http:// in database.address, or another port?",
        )
    return NotTakenError(
        f"{address} cannot be reached ({_why(error)})", "start the database, or correct database.address"
    )


def _why(error: Exception) -> str:
    """The last cause, in the words of the system."""
    cause = _cause(error)
    return str(getattr(cause, "strerror", None) or cause or type(cause).__name__)


def _cause(error: BaseException) -> BaseException:
    while (deeper := error.__cause__ or error.__context__) is not None:
        error = deeper
    return error
