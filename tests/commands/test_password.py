"""`brinebell password` at a real terminal and from a pipe: asks twice, writes a hash for its owner alone."""

from __future__ import annotations

import os
import pty
import subprocess
import sys
from pathlib import Path

from collector.passwords import is_password

PASSWORD = "tide and limewater 7"


def at_a_terminal(folder: Path, *typed: str) -> tuple[int, str]:
    """Run it with a terminal of its own, type each line when asked; return its status and what was shown."""
    number, terminal = pty.fork()
    if number == 0:
        os.chdir(folder)
        os.execv(sys.executable, [sys.executable, "-m", "collector", "password"])
    shown = b""
    for asked, line in enumerate(typed, 1):
        # What is typed before it is asked for is thrown away.
        while shown.count(b": ") < asked:
            shown += os.read(terminal, 1000)
        os.write(terminal, f"{line}\n".encode())
    try:
        while more := os.read(terminal, 1000):
            shown += more
    except OSError:  # what a terminal says whose program has ended
        pass
    os.close(terminal)
    return os.waitstatus_to_exitcode(os.waitpid(number, 0)[1]), shown.decode()


def test_asked_twice_it_writes_a_hash_for_its_owner_alone(tmp_path: Path) -> None:
    status, shown = at_a_terminal(tmp_path, PASSWORD, PASSWORD)
    file = tmp_path / "page.password"
    assert status == 0
    assert PASSWORD not in shown
    assert 'password_file = "page.password"' in shown
    assert is_password(PASSWORD, file.read_text().strip())
    assert file.stat().st_mode & 0o777 == 0o600
    assert [one.name for one in tmp_path.iterdir()] == ["page.password"]


def test_two_that_differ_leave_the_old_file_as_it_was(tmp_path: Path) -> None:
    (tmp_path / "page.password").write_text("old")
    status, shown = at_a_terminal(tmp_path, PASSWORD, PASSWORD + "x")
    assert status == 1
    assert "Nothing is written: the two are not the same." in shown
    assert (tmp_path / "page.password").read_text() == "old"


def test_one_line_from_a_pipe_is_taken(tmp_path: Path) -> None:
    command = [sys.executable, "-m", "collector", "password", str(tmp_path / "own")]
    done = subprocess.run(command, input=f"{PASSWORD}\n", capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    assert is_password(PASSWORD, (tmp_path / "own").read_text().strip())
    short = subprocess.run(command, input="short\n", capture_output=True, text=True, check=False)
    assert short.returncode == 1
    assert "it has 5 characters, at least 10 are needed" in short.stderr
