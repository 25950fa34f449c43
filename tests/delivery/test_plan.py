"""Who is told what: a table of incident events and the messages that they ask for."""

from __future__ import annotations

from dataclasses import replace

import pytest

from collector.configuration import PersonConfiguration
from collector.delivery import plan_notifications
from rules import IncidentEnded, IncidentOpened, IncidentUpdated, Priority
from tests.wording.example import HEATER, NOW, configuration

SETUP = replace(
    configuration(),
    people=(
        PersonConfiguration("sam", ("json://127.0.0.1:1/secret", "mailto://127.0.0.1:2/")),
        PersonConfiguration("kim", ("json://127.0.0.1:3/",)),
        PersonConfiguration("lee"),
    ),
)
ALL = [("sam", "json"), ("sam", "mailto"), ("kim", "json")]


@pytest.mark.parametrize(
    ("event", "kind", "priority"),
    [
        (IncidentOpened(NOW, HEATER), "opened", Priority.URGENT),
        (IncidentOpened(NOW, replace(HEATER, priority=Priority.HIGH)), "opened", Priority.HIGH),
        (IncidentUpdated(NOW, HEATER, worsened=True), "worsened", Priority.URGENT),
        (IncidentEnded(NOW, replace(HEATER, ended_at_us=NOW)), "ended", Priority.LOW),
    ],
)
def test_everybody_is_told_over_every_channel(event: object, kind: str, priority: Priority) -> None:
    planned = plan_notifications(event, SETUP, NOW)
    assert [(one.person, one.channel) for one in planned] == ALL
    assert {(one.kind, one.priority, one.incident) for one in planned} == {(kind, priority, HEATER.number)}
    assert {(one.created_us, one.not_before_us) for one in planned} == {(NOW, NOW)}
    assert all("secret" not in repr(one) for one in planned)


def test_more_evidence_alone_is_not_told() -> None:
    assert plan_notifications(IncidentUpdated(NOW, HEATER, worsened=False), SETUP, NOW) == []


def test_words_are_those_of_the_kind() -> None:
    opened = plan_notifications(IncidentOpened(NOW, HEATER), SETUP, NOW)[0]
    worsened = plan_notifications(IncidentUpdated(NOW, HEATER, worsened=True), SETUP, NOW)[0]
    assert opened.title == "Heater failed: Reef 24.6 °C, danger about 04:10"
    assert worsened.body == f"Worse now. {opened.body}"


def test_nobody_configured_is_nobody_told() -> None:
    assert plan_notifications(IncidentOpened(NOW, HEATER), replace(SETUP, people=()), NOW) == []
