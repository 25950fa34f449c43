"""The command line as a person meets it: help, exit statuses, and what a command imports."""

from __future__ import annotations

import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import pytest

from collector import commands
from tests.commands.conftest import Run

CHECKOUT = Path(__file__).parents[2]
HEAVY = {"pandas", "statsmodels", "apprise", "pint", "matplotlib", "scipy"}


@pytest.mark.parametrize("name", commands.NAMES)
def test_every_command_has_help_with_an_example(run: Run, name: str) -> None:
    told = run(name, "--help")
    assert told.returncode == 0, told.stderr
    assert f"example: brinebell {name}" in told.stdout
    assert commands.load(name).EXAMPLE.startswith(f"brinebell {name}")


def test_every_module_of_a_command_is_in_the_list() -> None:
    # A name that is a keyword has a _ behind it in the name of its module.
    files = (CHECKOUT / "collector" / "commands").glob("*.py")
    modules = {path.stem.removesuffix("_") if path.stem != "__init__" else path.stem for path in files}
    assert modules - {"__init__", "asking", "configuration_argument", "rehearsing"} == set(commands.NAMES)


def test_help_lists_every_command(run: Run) -> None:
    told = run("--help")
    assert told.returncode == 0
    for name in commands.NAMES:
        assert f"\n    {name}" in told.stdout


def test_readme_names_every_command() -> None:
    readme = (CHECKOUT / "README.md").read_text(encoding="utf-8")
    missing = [name for name in commands.NAMES if f"brinebell {name}" not in readme]
    assert not missing, f"README.md does not name: {', '.join(missing)}"


@pytest.mark.parametrize("arguments", [(), ("chek",), ("run", "--colour"), ("incidents", "--last", "0")])
def test_wrong_command_is_status_2_with_usage(run: Run, arguments: tuple[str, ...]) -> None:
    told = run(*arguments)
    assert told.returncode == 2
    assert told.stderr.startswith("usage: brinebell")


@pytest.mark.parametrize("name", ["run", "check", "incidents"])
def test_missing_configuration_is_status_2_and_one_line(run: Run, name: str) -> None:
    told = run(name)
    assert told.returncode == 2
    (line,) = told.stderr.splitlines()
    assert line.startswith("brinebell: there is no configuration file brinebell.toml")


def test_mistaken_configuration_is_status_2_with_every_mistake(
    run: Run, write: Callable[[str], Path]
) -> None:
    write('[mqtt]\nport = "x"\nhots = "y"\n')
    told = run("run")
    assert told.returncode == 2
    head, *mistakes = told.stderr.splitlines()
    assert head == "brinebell: 2 mistakes in brinebell.toml"
    assert len(mistakes) == 2


def test_missing_store_is_status_1_and_one_line(run: Run, write: Callable[[str], Path]) -> None:
    write("")
    told = run("incidents")
    assert told.returncode == 1
    (line,) = told.stderr.splitlines()
    assert "there is no store at" in line


def test_version_tells_brinebell_python_and_libraries(run: Run) -> None:
    told = run("version")
    assert told.returncode == 0
    names = [line.split()[0] for line in told.stdout.splitlines()]
    assert names[:3] == ["brinebell", "Python", "SQLite"]
    assert {"paho-mqtt", "apprise", "gsw"} <= set(names)
    assert "not installed" not in told.stdout


def test_example_that_is_printed_is_one_that_runs(run: Run, tmp_path: Path) -> None:
    (tmp_path / "brinebell.toml").write_text(run("check", "--example").stdout)
    told = run("incidents")
    # It is read without a mistake, and there is only no store yet.
    assert (told.returncode, "there is no store" in told.stderr) == (1, True)


def test_keys_are_printed(run: Run) -> None:
    told = run("check", "--keys")
    assert told.returncode == 0
    assert "\ntanks.<tank>.series.<series>.deadband (difference in the series' unit)" in told.stdout


def test_closed_pipe_is_no_error(tmp_path: Path) -> None:
    with subprocess.Popen(
        [sys.executable, "-m", "collector", "check", "--keys"],
        cwd=CHECKOUT,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
    ) as process:
        assert process.stdout is not None
        assert process.stderr is not None
        process.stdout.close()
        assert process.stderr.read() == b""
    assert process.returncode == 0


@pytest.mark.parametrize(
    "arguments",
    [
        ["version"],
        ["run", "--help"],
        ["--help"],
        ["run", "--config", "none.toml"],
        ["check", "--keys"],
        ["causes", "leak"],
    ],
    ids=" ".join,
)
def test_light_commands_import_nothing_heavy(arguments: list[str]) -> None:
    code = (
        "import sys\nfrom collector.__main__ import main\n"
        "try:\n    main(sys.argv[1:])\nexcept SystemExit:\n    pass\n"
        "print('loaded', *sorted({name.partition('.')[0] for name in sys.modules}))"
    )
    told = subprocess.run(
        [sys.executable, "-c", code, *arguments], cwd=CHECKOUT, capture_output=True, text=True, check=True
    )
    loaded = set(told.stdout.splitlines()[-1].split())
    assert "collector" in loaded
    assert not loaded & HEAVY


def test_reading_a_configuration_imports_nothing_heavy() -> None:
    code = (
        "import sys\nfrom collector.settings import load_configuration\nload_configuration(None, {})\n"
        "print(*sorted({name.partition('.')[0] for name in sys.modules}))"
    )
    told = subprocess.run(
        [sys.executable, "-c", code], cwd=CHECKOUT, capture_output=True, text=True, check=True
    )
    assert not set(told.stdout.split()) & HEAVY
