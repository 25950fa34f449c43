"""The demo's folder: emptied of the last run, refused where it is somebody else's."""

from __future__ import annotations

import stat
import subprocess
import sys
from pathlib import Path

import pytest

from collector.demo.folder import DemoFolder
from collector.errors import ConfigError


def test_a_new_folder_is_made_with_those_above_it(tmp_path: Path) -> None:
    with DemoFolder(tmp_path / "a" / "b") as folder:
        assert folder.path.is_dir()


def test_what_the_last_run_left_is_gone(tmp_path: Path) -> None:
    with DemoFolder(tmp_path) as folder:
        (folder.path / "broker").mkdir()
        (folder.path / "broker" / "broker.log").write_text("old")
        (folder.path / "brinebell.sqlite").write_text("old")
    with DemoFolder(tmp_path) as folder:
        assert [entry.name for entry in folder.path.iterdir()] == ["brinebell-demo.lock"]


def test_a_folder_with_other_things_in_it_is_left_alone(tmp_path: Path) -> None:
    (tmp_path / "letters.txt").write_text("mine")
    with pytest.raises(ConfigError, match="is not empty and no demo made it"), DemoFolder(tmp_path):
        pass
    assert (tmp_path / "letters.txt").read_text() == "mine"


def test_a_file_in_place_of_the_folder_is_refused(tmp_path: Path) -> None:
    (tmp_path / "demo").write_text("mine")
    with pytest.raises(ConfigError, match="is a file"), DemoFolder(tmp_path / "demo"):
        pass


def test_a_link_in_the_folder_is_removed_and_what_it_leads_to_is_not(tmp_path: Path) -> None:
    outside = tmp_path / "outside"
    outside.mkdir()
    (outside / "letters.txt").write_text("mine")
    with DemoFolder(tmp_path / "demo") as folder:
        (folder.path / "link").symlink_to(outside)
    with DemoFolder(tmp_path / "demo") as folder:
        assert not (folder.path / "link").exists()
    assert (outside / "letters.txt").read_text() == "mine"


def test_a_folder_in_which_another_demo_runs_is_refused(tmp_path: Path) -> None:
    # A record lock belongs to a process, so the other demo must be one.
    code = (
        "import sys; from pathlib import Path; from collector.demo.folder import DemoFolder\n"
        "with DemoFolder(Path(sys.argv[1])): print('claimed', flush=True); sys.stdin.read()"
    )
    other = subprocess.Popen(
        [sys.executable, "-c", code, str(tmp_path)],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
    )
    assert other.stdout is not None
    assert other.stdin is not None
    try:
        assert other.stdout.readline() == "claimed\n"
        with pytest.raises(ConfigError, match="another demo is running"), DemoFolder(tmp_path):
            pass
    finally:
        other.stdin.close()
        other.wait(timeout=10)
        other.stdout.close()
    with DemoFolder(tmp_path):
        pass


def test_a_secret_can_be_read_by_its_owner_alone(tmp_path: Path) -> None:
    with DemoFolder(tmp_path) as folder:
        path = folder.write_secret("phone.urls", "json://127.0.0.1:1/phone\n")
    assert stat.S_IMODE(path.stat().st_mode) == 0o600
    assert path.read_text() == "json://127.0.0.1:1/phone\n"
