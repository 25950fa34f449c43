"""`brinebell causes`: the list that is promised to be short, stable and documented."""

from __future__ import annotations

import pytest

from collector.settings.keys import parameter_text
from collector.wording.rivals import TELLS
from collector.wording.texts import CAUSE_TEXTS
from rules import CAUSES, FAULTS, KINDS
from tests.commands.conftest import Run


def flat(text: str) -> str:
    """Lines that were broken joined again."""
    return " ".join(text.split())


def test_the_list_fits_a_screen_and_tells_what_each_watches(ask: Run) -> None:
    told = ask("causes")
    assert told.returncode == 0
    lines = told.stdout.splitlines()
    assert max(map(len, lines)) <= 100
    assert len(lines) <= 40
    for code, cause in CAUSES.items():
        assert any(line.startswith(f"{code} ") and line.endswith(cause.watches) for line in lines)


@pytest.mark.parametrize(
    "code", ["heater_failed_off", "leak", "probe_silent", "under_limit", "changing_fast"]
)
def test_one_cause_is_told_with_what_to_do_and_when_it_is_suppressed(ask: Run, code: str) -> None:
    told = ask("causes", code)
    assert told.returncode == 0
    assert max(map(len, told.stdout.splitlines())) <= 110
    text, cause = flat(told.stdout), CAUSES[code]
    assert text.startswith(f"{code}: {cause.title} watches {cause.watches} ")
    look = CAUSE_TEXTS[code].look
    if look is not None:
        assert look.action.removeprefix("first ")[1:] in text
        assert f"beware {look.caution}" in text
    else:
        assert "temperature, low: first check with a second thermometer" in text
    assert CAUSE_TEXTS[code].after in text
    for kind, work in KINDS.items():
        assert (kind in text) == (code in work.causes)
    for pair, sentence in TELLS.items():
        assert code not in pair or sentence in text


def test_a_fault_is_told_with_every_parameter_its_unit_default_and_reason(ask: Run) -> None:
    for code, fault in list(FAULTS.items())[:3]:
        text = flat(ask("causes", code).stdout)
        assert f"priority {fault.priority}" in text
        assert f"[tanks.<tank>.faults.{code}]" in text
        for word in (*fault.equipment, *fault.roles, *fault.quantities):
            assert word in text
        for parameter in fault.parameters:
            assert f'{parameter.name} = "{parameter_text(parameter)}" {flat(parameter.meaning)}' in text


def test_what_is_never_suppressed_says_so(ask: Run) -> None:
    assert "always live" in ask("causes", "heater_stuck_on").stdout


def test_an_unknown_cause_is_one_line_with_the_nearest(ask: Run) -> None:
    told = ask("causes", "leek")
    assert told.returncode == 2
    assert told.stderr == "brinebell: there is no cause 'leek': did you mean \"leak\"?\n"
