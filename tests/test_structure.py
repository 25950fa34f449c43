"""The walls of the house: what may import what, and how long a module may be."""

from __future__ import annotations

import ast
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

CHECKOUT = Path(__file__).resolve().parents[1]
# The engine sees no clock, socket, file, database, thread, log or chance.
WORLD = {
    "asyncio",
    "logging",
    "multiprocessing",
    "os",
    "pathlib",
    "random",
    "socket",
    "sqlite3",
    "subprocess",
    "sys",
    "threading",
    "time",
    "collector",
}
# Parts that meet only in the service.
APART = ("delivery", "pages", "payloads", "store")
LONGEST = 400


def imports(path: Path) -> Iterator[str]:
    for node in ast.walk(ast.parse(path.read_text())):
        if isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom) and node.module:
            yield node.module


def third_party_at_import(path: Path) -> set[str]:
    """What a module imports as it is loaded, outside functions."""
    found = set()
    for node in ast.parse(path.read_text()).body:
        if isinstance(node, ast.Import):
            found |= {alias.name.split(".")[0] for alias in node.names}
        elif isinstance(node, ast.ImportFrom) and node.module:
            found.add(node.module.split(".")[0])
    return found - sys.stdlib_module_names


def modules(folder: str) -> list[Path]:
    return sorted((CHECKOUT / folder).rglob("*.py"))


@pytest.mark.parametrize("path", modules("rules"), ids=lambda path: str(path.relative_to(CHECKOUT)))
def test_the_engine_is_pure(path):
    touched = {name.split(".")[0] for name in imports(path)} & WORLD
    assert not touched
    third_party = {name.split(".")[0] for name in imports(path)} - sys.stdlib_module_names
    # Fits run in a process of their own; nobody else is to load what they need.
    assert third_party <= {"rules", "numpy", "gsw", "statsmodels"}
    assert "statsmodels" not in third_party_at_import(path)
    assert "datetime.now" not in path.read_text()
    assert not any(
        isinstance(node, ast.Call) and getattr(node.func, "id", "") == "open"
        for node in ast.walk(ast.parse(path.read_text()))
    )


@pytest.mark.parametrize("part", APART)
def test_parts_do_not_import_each_other(part):
    for path in modules(f"collector/{part}"):
        for name in imports(path):
            for other in set(APART) - {part}:
                assert not name.startswith(f"collector.{other}"), f"{path} imports {name}"


@pytest.mark.parametrize("path", modules("collector/telling"), ids=lambda path: path.stem)
def test_who_is_told_is_decided_without_a_clock_a_store_or_a_channel(path):
    touched = {name.split(".")[0] for name in imports(path)} & (WORLD - {"collector"})
    assert not touched
    parts = {name.split(".")[1] for name in imports(path) if name.startswith("collector.")}
    assert not parts & {*APART, "clock", "commands", "intake", "mqtt", "service"}


@pytest.mark.parametrize("path", modules("collector"), ids=lambda path: str(path.relative_to(CHECKOUT)))
def test_the_service_comes_through_the_front_door_of_the_engine(path):
    assert not [name for name in imports(path) if name.startswith("rules.")]


@pytest.mark.parametrize("folder", ["rules", "collector"])
def test_modules_fit_on_a_few_screens(folder):
    long = {
        str(path.relative_to(CHECKOUT)): count
        for path in modules(folder)
        if (count := len(path.read_text().splitlines())) > LONGEST
    }
    assert not long


@pytest.mark.parametrize("folder", ["rules", "collector", "tests"])
def test_no_module_is_named_for_what_it_is_not(folder):
    assert not [path for path in modules(folder) if path.stem in ("utils", "helpers", "common", "misc")]
