"""deploy/install as far as a test suite may run it; all of it runs in tests/deploy/fresh_machine."""

from __future__ import annotations

import importlib.util
import subprocess
import tomllib
from pathlib import Path
from types import ModuleType

import pytest

from collector.settings import example_text, load_configuration

CHECKOUT = Path(__file__).resolve().parents[2]
INSTALL = CHECKOUT / "deploy" / "install"
RIGHTS = CHECKOUT / "deploy" / "mosquitto" / "rights"


def load() -> ModuleType:
    path = CHECKOUT / "deploy" / "installing" / "set_keys.py"
    specification = importlib.util.spec_from_file_location("set_keys", path)
    assert specification is not None
    assert specification.loader is not None
    module = importlib.util.module_from_spec(specification)
    specification.loader.exec_module(module)
    return module


set_keys = load()


def install(*options: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [str(INSTALL), *options],
        capture_output=True,
        text=True,
        timeout=60,
        check=False,
        stdin=subprocess.DEVNULL,
    )


def test_a_rehearsal_names_every_step_and_ends_well() -> None:
    result = install(
        "--dry-run", "--board", "sump", "--board", "chemistry", "--tls", "--time-zone", "Africa/Nairobi"
    )
    assert result.returncode == 0, result.stderr
    for step in (
        "would: Installing the program into /opt/brinebell/program-",
        "would: Writing /etc/brinebell/brinebell.toml",
        "would: Giving chemistry the rights of a board at the broker",
        "would: Making an authority and a certificate of the broker",
        "would: Writing /etc/systemd/system/brinebell.service",
        "port 8883, TLS",
        "brinebell check --ring",
    ):
        assert step in result.stderr
    assert not Path("/etc/brinebell").exists()


@pytest.mark.parametrize(
    ("options", "says"),
    [
        (("--bord", "sump"), "--bord is no option"),
        (("--board",), "--board wants a value"),
        (("--board", "Sump 1"), '"Sump 1" cannot be the name of an account'),
        (("--board", "status"), "status is kept for other use"),
        (("--page", "world"), "--page is machine or network, not world"),
        (("--time-zone", "Nowhere/Atall"), "Nowhere/Atall is no time zone"),
        (("--urls-file", "/nowhere/urls"), "/nowhere/urls cannot be read"),
        (("--public-url", "tank.example"), "must begin with http:// or https://"),
        ((), "there is no terminal to ask at: give --yes"),
    ],
)
def test_a_mistake_is_named_before_anything_is_done(options: tuple[str, ...], says: str) -> None:
    result = install(*options, *(["--dry-run"] if options else []))
    assert result.returncode == 2
    assert says in result.stderr
    assert "would:" not in result.stderr


def test_keys_are_set_on_their_lines_and_all_other_lines_stay(tmp_path: Path) -> None:
    path = tmp_path / "brinebell.toml"
    path.write_text(example_text())
    words = {
        "service.folder": str(tmp_path / "data"),
        "mqtt.username": "brinebell",
        "mqtt.password_file": "mqtt.password",
        "people.keeper.urls_file": "keeper.urls",
        "page.public_url": "http://tank.example:8460",
    }
    set_keys.main(path, [word for pair in words.items() for word in pair])
    set_keys.main(path, ["--zone", "Africa/Nairobi"])
    before, after = example_text().splitlines(), path.read_text().splitlines()
    assert len(after) == len(before)
    changed = [new for old, new in zip(before, after, strict=True) if old != new]
    assert len(changed) == len(words) + 1
    (tmp_path / "mqtt.password").write_text("secret\n")
    (tmp_path / "keeper.urls").write_text("json://127.0.0.1:9/\n")
    configuration = load_configuration(path, {})
    assert configuration.mqtt.password == "secret"
    assert configuration.people[0].urls == ("json://127.0.0.1:9/",)
    assert configuration.tanks[0].rules.time_zone == "Africa/Nairobi"
    again = path.read_text()
    set_keys.main(path, [word for pair in words.items() for word in pair])
    assert path.read_text() == again


def test_a_key_or_table_that_is_not_there_is_added_and_its_neighbours_namesake_is_left_alone() -> None:
    text = '[a]\nx = "1"\n\n[b.c]\n#y = 2\n\n[[d]]\nx = "3"\n'
    assert (
        set_keys.with_key(text, "b.c", "x", "é")
        == '[a]\nx = "1"\n\n[b.c]\nx = "é"\n#y = 2\n\n[[d]]\nx = "3"\n'
    )
    assert tomllib.loads(set_keys.with_key(text, "e", "x", 'a "b"\n'))["e"] == {"x": 'a "b"\n'}


def test_each_kind_of_account_has_rights_of_its_own_alone() -> None:
    kinds = {path.name for path in RIGHTS.iterdir()}
    assert kinds == {"service", "board", "button", "sounder", "person"}
    for path in RIGHTS.iterdir():
        lines = [line for line in path.read_text().splitlines() if line and not line.startswith("#")]
        assert lines[0] == "user NAME"
        assert all(line.startswith(("topic read ", "topic write ")) for line in lines[1:])
