"""Where the pages may be served, and that their thread and port are given back."""

from __future__ import annotations

import socket
import threading
from pathlib import Path

import httpx
import pytest

from collector.configuration import PageConfiguration
from collector.errors import ConfigError
from collector.pages import PagesServer, serve_in_thread
from collector.pages.server import _listen
from collector.store import StoreReader
from tests.pages import tank
from tests.pages.conftest import standing_clock


def serve(folder: Path, page: PageConfiguration) -> PagesServer:
    configuration = tank.configuration(folder, page=page)
    return serve_in_thread(configuration, lambda: StoreReader(configuration.store.path), standing_clock())


@pytest.mark.parametrize(
    "host",
    [
        "0.0.0.0",
        "::",
        "192.168.1.20",
        "10.0.0.7",
        "fe80::1",
        "8.8.8.8",
        "tank.example",
        "localhost.example",
        "",
    ],
)
def test_other_machines_are_refused_while_there_is_no_password(tmp_path: Path, host: str) -> None:
    with pytest.raises(ConfigError) as caught:
        serve(tmp_path, PageConfiguration(host=host, port=8460))
    text = str(caught.value)
    assert f'page.listen: "{host}:8460"' in text
    assert '"127.0.0.1:8460"' in text
    assert "ssh -L 8460:127.0.0.1:8460" in text
    assert "password" in text


@pytest.mark.parametrize("host", ["127.0.0.1", "127.0.0.53", "localhost", "::1"])
def test_this_machine_is_served(tmp_path: Path, host: str) -> None:
    if host == "::1" and not _has_ipv6():
        pytest.skip("this machine has no IPv6 loopback")
    with serve(tmp_path, PageConfiguration(host=host, port=0)) as server:
        assert httpx.get(f"{server.address}/static/live.js", trust_env=False).status_code == 200
        assert f"[{host}]" in server.address or host in server.address


def test_port_that_is_taken_is_named(tmp_path: Path) -> None:
    with socket.socket() as other:
        other.bind(("127.0.0.1", 0))
        other.listen()
        port = other.getsockname()[1]
        with pytest.raises(ConfigError, match=rf'page.listen: "127.0.0.1:{port}" cannot be listened at'):
            serve(tmp_path, PageConfiguration(port=port))


def test_closing_gives_thread_and_port_back_and_may_be_repeated(tmp_path: Path) -> None:
    server = serve(tmp_path, PageConfiguration(port=0))
    port = int(server.address.rpartition(":")[2])
    assert "pages" in {thread.name for thread in threading.enumerate()}
    server.close()
    server.close()
    assert "pages" not in {thread.name for thread in threading.enumerate()}
    with serve(tmp_path, PageConfiguration(port=port)) as again:
        assert again.address == server.address


def test_closing_at_once_after_the_start_does_not_hang(tmp_path: Path) -> None:
    for _ in range(5):
        serve(tmp_path, PageConfiguration(port=0)).close()


def test_answers_are_not_held_back_by_delayed_acknowledgements() -> None:
    """asyncio sets TCP_NODELAY only on sockets that name TCP; RFC 1122 4.2.3.2 costs 40 ms an answer else."""
    with _listen(PageConfiguration(port=0)) as listener:
        assert listener.proto == socket.IPPROTO_TCP


def _has_ipv6() -> bool:
    try:
        with socket.socket(socket.AF_INET6) as trial:
            trial.bind(("::1", 0))
    except OSError:
        return False
    return True
