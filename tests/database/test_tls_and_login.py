"""Who asks for a password or speaks TLS: real servers with both."""

from __future__ import annotations

import subprocess
from dataclasses import replace
from pathlib import Path

import pytest

from collector.configuration import DatabaseConfiguration
from collector.database import NotTakenError, open_database
from tests.broker import wait_for_port
from tests.database.servers import Influx, Victoria

LINE = b"reading,quantity=ph,series=ph,tank=reef value=8.1,flag=1i 1764000000000000000"


@pytest.fixture(scope="module")
def certificate(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("certificate")
    command = (
        "openssl req -x509 -newkey rsa:2048 -nodes -keyout key.pem -out cert.pem -days 2 -subj /CN=localhost"
    )
    command += " -addext subjectAltName=DNS:localhost"
    subprocess.run(command.split(), cwd=folder, check=True, capture_output=True)
    return folder


def write(database: DatabaseConfiguration) -> str | None:
    """What is told of a write; None where it was taken."""
    target = open_database(database, timeout_s=5)
    try:
        target.write([LINE])
    except NotTakenError as error:
        return f"{error}. {error.mend}"
    finally:
        target.close()
    return None


@pytest.mark.influxdb
def test_version_1_asks_for_user_and_password(tmp_path: Path) -> None:
    server = Influx(tmp_path, "auth-enabled = true")
    server.start()
    try:
        server.ask("CREATE USER keeper WITH PASSWORD 'salt:water' WITH ALL PRIVILEGES")
        login = DatabaseConfiguration(server.address, api="v1", bucket="reef", token="keeper:salt:water")
        assert "401: " in write(replace(login, token="keeper:wrong"))
        assert "401: " in write(replace(login, token=None))
        assert "database.token_file" in write(replace(login, token=None))
        assert "404: database not found" in write(login)
    finally:
        server.stop()


@pytest.mark.parametrize(
    "api", [pytest.param("v1", marks=pytest.mark.influxdb), pytest.param("v2", marks=pytest.mark.victoria)]
)
def test_a_certificate_is_trusted_by_the_authority_that_is_named_alone(
    tmp_path: Path, certificate: Path, api: str
) -> None:
    cert, key = certificate / "cert.pem", certificate / "key.pem"
    if api == "v1":
        server = Influx(
            tmp_path,
            "https-enabled = true",
            f'https-certificate = "{cert}"',
            f'https-private-key = "{key}"',
        )
    else:
        server = Victoria(tmp_path, "-tls", f"-tlsCertFile={cert}", f"-tlsKeyFile={key}")
    server.launch()
    try:
        wait_for_port(server.port)
        database = DatabaseConfiguration(f"https://localhost:{server.port}", api=api, ca_file=cert)
        told = write(database)
        assert told is None if api == "v2" else "404: database not found" in told
        told = write(replace(database, ca_file=None))
        assert "is not trusted (self-signed certificate" in told.replace("self signed", "self-signed")
        assert "database.ca_file" in told
        told = write(replace(database, address=f"http://localhost:{server.port}"))
        assert told is not None
    finally:
        server.stop()
