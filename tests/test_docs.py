"""The documents name what there is: commands, causes, libraries, benches."""

from __future__ import annotations

import re
import tomllib
from pathlib import Path

import pytest

from collector.commands import NAMES
from collector.publishing import TOPICS
from rules import CAUSES

CHECKOUT = Path(__file__).resolve().parents[1]
README = (CHECKOUT / "README.md").read_text()
DEVELOPERS = (CHECKOUT / "DEVELOPERS.md").read_text()
PROJECT = tomllib.loads((CHECKOUT / "pyproject.toml").read_text())["project"]


@pytest.mark.parametrize("name", NAMES)
def test_every_command_is_in_the_readme(name):
    assert f"brinebell {name}" in README


@pytest.mark.parametrize("code", sorted(CAUSES))
def test_every_cause_is_in_the_readme_with_what_it_watches(code):
    assert f"`{code}`" in README
    if not code.startswith(("over_", "under_")):
        assert CAUSES[code].watches in README


def test_the_readme_opens_with_one_paragraph_that_states_the_job():
    title, paragraph, heading, *_ = re.split(r"\n\n", README)
    assert title == "# Brinebell"
    assert heading == "## Two commands"
    for word in ("reef aquarium", "MQTT", "stores", "rings", "never switches equipment"):
        assert word in paragraph.replace("\n", " ")


@pytest.mark.parametrize("topic", TOPICS, ids=lambda topic: topic.pattern)
def test_every_topic_of_ours_is_in_the_readme_as_the_code_describes_it(topic):
    assert f"| `{topic.pattern}` | {topic.meaning} |\n" in README


def test_the_readme_promises_no_topic_that_the_code_does_not_know():
    promised = re.findall(r"^\| `(brinebell/[^`]+)`", README, re.MULTILINE)
    assert sorted(promised) == sorted(one.pattern for one in TOPICS)


def dependencies() -> list[str]:
    lines = [*PROJECT["dependencies"], *PROJECT["optional-dependencies"]["demo"]]
    lines += PROJECT["optional-dependencies"]["test"]
    return sorted({re.match(r"[\w-]+", line)[0] for line in lines})


@pytest.mark.parametrize("name", dependencies())
def test_every_library_is_listed_with_its_licence(name):
    licences = r"(BSD|MIT|Apache|MPL|EPL|GPL)"
    assert re.search(rf"\b{re.escape(name)}\s+{licences}", DEVELOPERS)


@pytest.mark.parametrize(
    "path", sorted((CHECKOUT / "tests" / "bench").glob("*.py")), ids=lambda path: path.name
)
def test_every_bench_is_named_where_a_contributor_looks(path):
    assert f"tests/bench/{path.name}" in DEVELOPERS


@pytest.mark.parametrize("text", [README, DEVELOPERS], ids=["README", "DEVELOPERS"])
def test_links_and_paths_lead_somewhere(text):
    for target in re.findall(r"\]\(([^)#]+)\)", text):
        assert (CHECKOUT / target).exists(), target
    for target in re.findall(r"`((?:collector|rules|deploy|tests|replay_data)/[\w./-]+)`", text):
        assert (CHECKOUT / target).exists(), target
