"""Annotation files: what was written reads back the same, and what is wrong is named."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from collector.annotations import annotations_text, read_annotations
from collector.configuration import Configuration
from collector.errors import ConfigError
from collector.settings import load_configuration
from rules import CAUSES, NO_CAUSES, Annotation

# The years 1970 to 2100.
instants = st.integers(0, 4_102_444_800_000_000)


@pytest.fixture(scope="module")
def configuration() -> Configuration:
    return load_configuration(None)


@st.composite
def annotations(draw: st.DrawFn) -> Annotation:
    from_us = draw(instants)
    return Annotation(
        "reef",
        draw(st.sampled_from([*CAUSES, *NO_CAUSES])),
        from_us,
        draw(st.none() | st.integers(from_us + 1, from_us + 10**13)),
        tuple(draw(st.lists(st.sampled_from(["temperature", "ph"]), unique=True))),
        draw(st.none() | instants),
        draw(st.text(st.characters(exclude_categories=["Cs"]))),
    )


@given(st.lists(annotations(), max_size=4), st.text(st.characters(exclude_categories=["Cs"])))
def test_what_is_written_reads_back_the_same(tmp_path_factory, configuration, found, title):
    path = tmp_path_factory.mktemp("annotations") / "week.annotations.toml"
    path.write_text(annotations_text(title, found, ["made by hand"]), encoding="utf-8")
    assert read_annotations(path, configuration) == tuple(sorted(found, key=lambda one: one.from_us))


def write(folder: Path, entry: str) -> Path:
    path = folder / "week.annotations.toml"
    path.write_text(f"[[annotation]]\n{entry}\n")
    return path


GOOD = 'from = 2026-03-07T02:10:00Z\ntank = "reef"\ncause = "leak"\n'


@pytest.mark.parametrize(
    ("entry", "says"),
    [
        ('tank = "reef"\ncause = "leak"', "annotation 1: from: is missing"),
        (GOOD.replace("leak", "leek"), "cause = 'leek': there is no such cause; did you mean \"leak\""),
        (GOOD.replace("reef", "reeff"), "tank = 'reeff': the configuration has no such tank"),
        (GOOD.replace("Z", ""), "from = .*says no offset"),
        (GOOD.replace("2026-03-07T02:10:00Z", '"yesterday"'), "from = 'yesterday': is no time"),
        (GOOD + "to = 2026-03-07T02:00:00Z", "to = .*must be later than from"),
        (GOOD + 'series = ["salt"]', "reef has no series 'salt'"),
        (GOOD + 'series = "ph"', "must be a list of names"),
        (GOOD + "note = 7", "note = 7: must be text"),
        (GOOD + 'until = "x"', "until = 'x': there is no such key"),
        ("from = ", "is no TOML"),
    ],
)
def test_what_is_wrong_is_named_with_its_value(tmp_path, configuration, entry, says):
    with pytest.raises(ConfigError, match=says):
        read_annotations(write(tmp_path, entry), configuration)


def test_the_only_tank_need_not_be_named(tmp_path, configuration):
    path = write(tmp_path, GOOD.replace('tank = "reef"\n', ""))
    assert [one.tank for one in read_annotations(path, configuration)] == ["reef"]


def test_a_file_that_is_not_there_is_named(tmp_path, configuration):
    with pytest.raises(ConfigError, match=r"none\.toml"):
        read_annotations(tmp_path / "none.toml", configuration)
