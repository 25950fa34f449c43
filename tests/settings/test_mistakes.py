"""Each kind of mistake names its key, its value, and what would be right."""

# ruff: noqa: E501 - one row a case
from __future__ import annotations

from typing import Any

import pytest

from collector.errors import ConfigError
from tests.settings.configurations import SMALL, Load, changed

SERIES = "tanks.reef.series"
T, PH, SALINITY, LEAK = (f"{SERIES}.{name}" for name in ("temperature", "ph", "practical_salinity", "leak"))
TEMPERATURE = {"quantity": "temperature"}
WORK = {
    "tank": "reef",
    "kind": "feeding_pause",
    "starts": "2026-01-03 18:00",
    "lasts": "15 min",
    "repeats": "FREQ=DAILY",
}
CALIBRATION = {"first": ["7 pH", "-6 mV"], "second": ["10.01 pH", "-178 mV"]}


# path to change, value to put there (... takes out), key that is told, what is told of it
@pytest.mark.parametrize(
    ("path", "value", "key", "told"),
    [
        # people and telling
        ("people.keeper.night", ["22:00"], "people.keeper.night", "two times are needed"),
        ("people.keeper.night", ["22:00", "7 h"], "people.keeper.night", 'a time of the day is needed, such as "22:00"'),
        ("people.keeper.night", ["24:00", "07:00"], "people.keeper.night", 'a time of the day'),
        ("people.keeper.rings_at_night", ["loud"], "people.keeper.rings_at_night[0]", "urgent, high or low is needed"),
        ("people.keeper.away", [["2026-05-17", "2026-05-03"]], "people.keeper.away", "the first and the last day of each absence"),
        ("people.keeper.away", [["3 May", "17 May"]], "people.keeper.away", "the first and the last day of each absence"),
        ("people.keeper.away", [["2026-05-03"]], "people.keeper.away", "the first and the last day of each absence"),
        ("people.keeper.urgent_urls_file", "json://x", "people.keeper.urgent_urls_file", "the name of a file"),
        ("telling", {"repeat_after": "59 s"}, "telling.repeat_after", "at least 60 s and at most 86400 s is needed"),
        ("telling", {"next_person_after": "25 h"}, "telling.next_person_after", "at most 86400 s"),
        ("telling", {"rings": 0}, "telling.rings", "a whole number from 1 to 20"),
        ("telling", {"rounds": 21}, "telling.rounds", "a whole number from 1 to 20"),
        ("telling", {"test_ring": "montly"}, "telling.test_ring", 'did you mean "monthly"'),
        ("telling", {"test_ring_at": "11"}, "telling.test_ring_at", "a time of the day"),
        ("telling", {"test_answer_within": "0 s"}, "telling.test_answer_within", "at least 60 s"),
        # structure
        ("colour", 1, "colour", "unknown key"),
        ("mqtt.hots", "x", "mqtt.hots", 'did you mean "host"'),
        (f"{T}.deadbnd", "1 degC", f"{T}.deadbnd", 'did you mean "deadband"'),
        ("tanks.reef.deadband", "1 degC", "tanks.reef.deadband", "belongs at tanks.<tank>.series.<series>.deadband"),
        ("mqtt.port", "x", "mqtt.port", '"x": a whole number is needed'),
        ("mqtt.tls", "perhaps", "mqtt.tls", '"perhaps": true or false'),
        ("mqtt", "host", "mqtt", "a table is needed"),
        ("tanks.reef.volume", 400, "tanks.reef.volume", '400: text in quotes is needed, a quantity with its unit, such as "400 L"'),
        ("tanks.reef.equipment", "heater", "tanks.reef.equipment", '"heater": a list is needed'),
        (f"{T}.quantity", ..., f"{T}.quantity", "is missing"),
        (f"{T}.priority", "medium", f"{T}.priority", '"medium": urgent, high or low'),
        ("sources.0.topic", ..., "sources[0].topic", "is missing"),
        ("sources", {"x": 1}, "sources", "write [[sources]]"),
        ("tanks", {}, "tanks", "write [tanks.reef]"),
        (SERIES, {}, SERIES, "there is none"),
        # service, mqtt and page
        ("service.commit_interval", "soon", "service.commit_interval", '"soon"'),
        ("service.commit_interval", "2 min", "service.commit_interval", "at most 60 s"),
        ("service.commit_interval", "-1 s", "service.commit_interval", '"-1 s"'),
        ("service.keep_readings", "29 days", "service.keep_readings", "30 days at least"),
        ("service.keep_readings", "always", "service.keep_readings", '"forever"'),
        ("service.outage_after", "5 s", "service.outage_after", "at least 10 s"),
        ("works", [{**WORK, "repeats": ""}], "works[0].repeats", "a rule of RFC 5545 is needed"),
        ("mqtt.outage_after", "soon", "mqtt.outage_after", '"soon"'),
        ("service.sign_of_life_url", "watch.example", "service.sign_of_life_url", "an address such as"),
        ("service.sign_of_life_url", "file:///etc/passwd", "service.sign_of_life_url", "an address such as"),
        ("service.sign_of_life_url", "https://", "service.sign_of_life_url", "an address such as"),
        ("service.sign_of_life_url", "https://[watch", "service.sign_of_life_url", "an address such as"),
        ("database", {}, "database.address", "is missing"),
        ("database", {"address": "127.0.0.1:8086"}, "database.address", "an address with nothing behind host and port"),
        ("database", {"address": "http://h:8086/api/v2"}, "database.address", "bucket and token have keys of their own"),
        ("database", {"address": "http://me:salt@h:8086"}, "database.address", "bucket and token have keys of their own"),
        ("database", {"address": "http://h", "api": "2"}, "database.api", '"v2"'),
        ("database", {"address": "http://h", "bucket": ""}, "database.bucket", "the name of a bucket"),
        ("database", {"address": "http://h", "bucket": "a/b"}, "database.bucket", '"a/b": the name of a bucket'),
        ("database", {"address": "http://h", "token": "salt"}, "database.token", "BRINEBELL_DATABASE__TOKEN"),
        ("database", {"address": "http://h", "token_file": "x"}, "database.token_file", "cannot be read"),
        ("database", {"address": "http://h", "ca_file": "x"}, "database.ca_file", "there is no such file"),
        ("database", {"address": "http://h", "interval": "0 s"}, "database.interval", '"0 s": at least 1 s'),
        ("database", {"address": "http://h", "outage_after": "1 s"}, "database.outage_after", "at least 60 s"),
        ("mqtt.host", "", "mqtt.host", "name or address"),
        ("mqtt.port", 0, "mqtt.port", "from 1 to 65535"),
        ("mqtt.port", 65_536, "mqtt.port", "from 1 to 65535"),
        ("mqtt.receive_maximum", 0, "mqtt.receive_maximum", "from 1 to 65535"),
        ("mqtt.client_id", "", "mqtt.client_id", "must not be empty"),
        ("mqtt.keep_alive", "1 s", "mqtt.keep_alive", '"1 s": at least 5 s'),
        ("mqtt.ca_file", "ca.pem", "mqtt.ca_file", "tls = true"),
        ("page.listen", "8460", "page.listen", "an address and a port"),
        ("page.listen", "127.0.0.1:99999", "page.listen", "an address and a port"),
        ("page.listen", "0.0.0.0:8460", "page.listen", "SSH tunnel"),
        ("page.listen", "192.168.1.5:8460", "page.listen", "127.0.0.1:8460"),
        ("page.listen", "tank.example:8460", "page.listen", "`brinebell password page.password`"),
        ("page.password_file", "nowhere", "page.password_file", "cannot be read"),
        ("page.proxies", ["proxy.example"], "page.proxies", '"127.0.0.1" or "10.0.3.0/24"'),
        ("page.proxies", ["10.0.3.1/24"], "page.proxies", "addresses or networks"),
        ("page.user_header", "X-Remote-User", "page.user_header", "anybody could send it"),
        ("units", {"temperature": "F"}, "units.temperature", "degC"),
        ("units", {"volume": "gal"}, "units.volume", "gal_us"),
        ("page.user_header", "X Remote", "page.user_header", "the name of a header"),
        ("page.public_url", "tank.example", "page.public_url", "http://"),
        # tanks
        ("tanks.reef.time_zone", "Africa/Nairoby", "tanks.reef.time_zone", 'did you mean "Africa/Nairobi"'),
        ("tanks.reef.time_zone", "../etc", "tanks.reef.time_zone", "no such time zone"),
        ("tanks.reef.time_zone", "", "tanks.reef.time_zone", "no such time zone"),
        ("tanks.service", {"series": {}}, "tanks.service", "topics of the service itself"),
        ("tanks.reef.volume", "0 L", "tanks.reef.volume", '"0 L": more than nothing'),
        ("tanks.reef.equipment", ["heeter"], "tanks.reef.equipment", 'did you mean "heater"'),
        ("tanks.reef.roles", {"temprature": "ph"}, "tanks.reef.roles.temprature", 'did you mean "temperature"'),
        ("tanks.reef.roles", {"temperature": "ph"}, "tanks.reef.roles.temperature", "that series is a ph"),
        ("tanks.reef.roles", {"ph": "phh"}, "tanks.reef.roles.ph", 'did you mean "ph"'),
        ("tanks.reef.faults.heater_failed_of", {}, "tanks.reef.faults.heater_failed_of", 'did you mean "heater_failed_off"'),
        ("tanks.reef.faults.heater_failed_off", {"margn": "1 degC"}, "tanks.reef.faults.heater_failed_off.margn", 'did you mean "margin"'),
        ("tanks.reef.faults.heater_failed_off", {"margin": "1 h"}, "tanks.reef.faults.heater_failed_off.margin", '"1 h"'),
        ("tanks.reef.faults.heater_failed_off", {"on_delay": "1 degC"}, "tanks.reef.faults.heater_failed_off.on_delay", '"1 degC"'),
        # series: what they are and how they arrive
        (f"{SERIES}.Water", TEMPERATURE, f"{SERIES}.Water", "small letters"),
        (f"{T}.quantity", "temprature", f"{T}.quantity", '"temprature": did you mean "temperature"'),
        (f"{T}.temperature_from", "temperature", f"{T}.temperature_from", "a series of the same tank"),
        (f"{PH}.temperature_from", "temprature", f"{PH}.temperature_from", 'did you mean "temperature"'),
        (f"{PH}.temperature_from", "leak", f"{PH}.temperature_from", "that is a contact"),
        (f"{SALINITY}.derived_from", "temperature", f"{SALINITY}.derived_from", "that is a temperature"),
        (f"{SALINITY}.temperature_from", ..., f"{SALINITY}.temperature_from", "is missing"),
        (f"{T}.derived_from", "conductivity", f"{T}.derived_from", "this is a temperature"),
        (f"{PH}.scale", "nist", f"{PH}.scale", '"nist"'),
        (f"{T}.scale", "nbs", f"{T}.scale", "only for a ph"),
        (f"{T}.words", {"warm": True}, f"{T}.words", "only for a contact or state"),
        (f"{PH}.calibration", CALIBRATION, f"{PH}.unit", 'arrives as "mV"'),
        (f"{PH}.unit", "mV", f"{PH}.unit", 'needs "calibration"'),
        (f"{SERIES}.reservoir.unit", "cm", f"{SERIES}.reservoir.unit", 'needs "level_table"'),
        (f"{SALINITY}", {"quantity": "practical_salinity", "unit": "sg"}, f"{SALINITY}.unit", 'needs "reference"'),
        (SALINITY, {"quantity": "practical_salinity", "reference": "20 degC"}, f"{SALINITY}.reference", "pair of temperatures"),
        (f"{PH}.calibration", CALIBRATION | {"second": ["7 pH", "-6 mV"]}, f"{PH}.calibration.second", "two buffers of different pH"),
        (f"{PH}.calibration", CALIBRATION | {"first": ["7 pH"]}, f"{PH}.calibration.first", "a pH and its millivolts"),
        (f"{PH}.calibration", CALIBRATION | {"first": ["-6 mV", "7 pH"]}, f"{PH}.calibration.first", '"-6 mV"'),
        (f"{PH}.calibration", CALIBRATION | {"temperature": "25"}, f"{PH}.calibration.temperature", '"25"'),
        (f"{SERIES}.reservoir.level_table", {"unit": "cm", "heights": [0, 9, 9], "litres": [0, 1, 2]}, f"{SERIES}.reservoir.level_table.heights", "must rise"),
        (f"{SERIES}.reservoir.level_table", {"unit": "cm", "heights": [0, 9], "litres": [2, 1]}, f"{SERIES}.reservoir.level_table.litres", "not fall"),
        (f"{SERIES}.reservoir.level_table", {"unit": "cm", "heights": [0], "litres": [0]}, f"{SERIES}.reservoir.level_table.litres", "two at least"),
        (f"{SERIES}.reservoir.level_table", {"unit": "furlong", "heights": [0, 1], "litres": [0, 1]}, f"{SERIES}.reservoir.level_table.unit", '"furlong"'),
        (f"{T}.unit", "mS/cm", f"{T}.unit", '"mS/cm"'),
        (SALINITY, {"quantity": "practical_salinity", "unit": "ppt"}, f"{SALINITY}.unit", '"ppt": unit "ppt" is not accepted'),
        (f"{SALINITY}.unit", "g/kg", f"{SALINITY}.unit", "arrives from no board"),
        ("sources.0", {"topic": "a", "format": "senml", "tank": "reef", "values": {"s": "practical_salinity"}}, f"{SALINITY}.derived_from", "either computed or brought"),
        # series: quality of readings
        (f"{T}.sensor_range", ["5 degC"], f"{T}.sensor_range", "two values"),
        (f"{T}.sensor_range", ["60 degC", "-5 degC"], f"{T}.sensor_range", "the lower value comes first"),
        (f"{T}.sensor_range", ["5 L", "60 degC"], f"{T}.sensor_range", '"5 L"'),
        (T, TEMPERATURE | {"sensor_range": ["0 degC", "50 degC"], "usual_range": ["-1 degC", "40 degC"]}, f"{T}.usual_range", "within sensor_range"),
        (f"{T}.spike", {"suspect": "2 degC", "fail": "1 degC"}, f"{T}.spike.fail", "more than suspect"),
        (f"{T}.spike", {"suspect": "0 degC"}, f"{T}.spike.suspect", "more than nothing"),
        (f"{T}.rate_of_change", "30 degC", f"{T}.rate_of_change", "degC/h"),
        (f"{T}.rate_of_change", "0 degC/h", f"{T}.rate_of_change", "more than nothing"),
        (f"{T}.rate_of_change", "1 degC/furlong", f"{T}.rate_of_change", '"1 degC/furlong"'),
        (f"{T}.flat_line", {"tolerance": "0 degC", "suspect_after": "2 h", "fail_after": "2 h"}, f"{T}.flat_line.fail_after", "longer than suspect_after"),
        (f"{T}.flat_line", {"tolerance": "-1 degC", "suspect_after": "1 h", "fail_after": "2 h"}, f"{T}.flat_line.tolerance", "negative"),
        (f"{T}.flat_line", {"tolerance": "0 degC", "suspect_after": "2 h"}, f"{T}.flat_line.fail_after", "is missing"),
        (f"{T}.spike", {"suspect": "1 degC", "method": "averge"}, f"{T}.spike.method", 'did you mean "average"'),
        (f"{T}.gap", "0 s", f"{T}.gap", "at least 1 s"),
        (f"{T}.rate_of_change_spread", {"deviations": 0}, f"{T}.rate_of_change_spread.deviations", "0.0: a number above nothing"),
        (f"{T}.rate_of_change_spread", {"deviations": "three"}, f"{T}.rate_of_change_spread.deviations", '"three": a number is needed'),
        (f"{T}.rate_of_change_spread", {"window": "59 min"}, f"{T}.rate_of_change_spread.window", "at least 3600 s"),
        (f"{T}.rate_of_change_spread", {"window": "49 h"}, f"{T}.rate_of_change_spread.window", "at most 172800 s"),
        (f"{T}.rate_of_change_spread", {"least_change": "-1 degC"}, f"{T}.rate_of_change_spread.least_change", "negative"),
        (f"{T}.rate_of_change_spread", {"least_change": "1 h"}, f"{T}.rate_of_change_spread.least_change", '"1 h"'),
        (f"{T}.climatology", {"widths": 0.9}, f"{T}.climatology.widths", "1 at least"),
        (f"{T}.climatology", {"months": {"13": ["20 degC", "25 degC"]}}, f"{T}.climatology.months.13", "numbers from 1 to 12"),
        (f"{T}.climatology", {"months": {"june": ["20 degC", "25 degC"]}}, f"{T}.climatology.months.june", "numbers from 1 to 12"),
        (f"{T}.climatology", {"months": {"6-8": ["25 degC", "20 degC"]}}, f"{T}.climatology.months.6-8", "the lower value comes first"),
        (f"{T}.climatology", {"months": {"6-8": ["25 degC"]}}, f"{T}.climatology.months.6-8", "two values"),
        (f"{T}.attenuated_signal", {}, f"{T}.attenuated_signal.suspect_below", "is missing"),
        (f"{T}.attenuated_signal", {"suspect_below": "0 degC"}, f"{T}.attenuated_signal.suspect_below", "more than nothing"),
        (f"{T}.attenuated_signal", {"suspect_below": "0.1 degC", "fail_below": "0.1 degC"}, f"{T}.attenuated_signal.fail_below", "less than suspect_below"),
        (f"{T}.attenuated_signal", {"suspect_below": "0.1 degC", "window": "3 days"}, f"{T}.attenuated_signal.window", "at most 172800 s"),
        (f"{T}.attenuated_signal", {"suspect_below": "0.1 degC", "method": "rnge"}, f"{T}.attenuated_signal.method", 'did you mean "range"'),
        (f"{T}.attenuated_signal", {"suspect_below": "0.1 degC", "fewest": 1}, f"{T}.attenuated_signal.fewest", "2 at least"),
        (f"{T}.neighbor", {"companion": "temperature"}, f"{T}.neighbor.companion", "another series of the same tank"),
        (f"{T}.neighbor", {"companion": "reservor"}, f"{T}.neighbor.companion", 'did you mean "reservoir"'),
        (f"{T}.neighbor", {"companion": "ph"}, f"{T}.neighbor.companion", "a temperature is needed, and that is a ph"),
        (f"{T}.multivariate", {"companion": "ph", "companion_deviations": -1}, f"{T}.multivariate.companion_deviations", "a number above nothing"),
        (f"{T}.multivariate", {"companion": "ph", "window": "0 h"}, f"{T}.multivariate.window", "at least 3600 s"),
        (SERIES + ".temperature_2", TEMPERATURE | {"multivariate": {"companion": "temperature"}}, f"{SERIES}.temperature_2.multivariate.companion", "another quantity than temperature"),
        (f"{LEAK}.climatology", {}, f"{LEAK}.climatology", "use alarm_state"),
        (f"{LEAK}.neighbor", {"companion": "ph"}, f"{LEAK}.neighbor", "use alarm_state"),
        # series: alarms
        (f"{T}.alarm_low", "24", f"{T}.alarm_low", '"24"'),
        (f"{T}.alarm_low", "24 h", f"{T}.alarm_low", '"24 h"'),
        (T, TEMPERATURE | {"alarm_low": "27 degC", "alarm_high": "24 degC"}, f"{T}.alarm_high", '"24 degC": must be above alarm_low, "27 degC"'),
        (T, TEMPERATURE | {"danger_low": "24 degC", "alarm_low": "24 degC"}, f"{T}.alarm_low", "above danger_low"),
        (T, TEMPERATURE | {"alarm_high": "31 degC", "danger_high": "30 degC"}, f"{T}.danger_high", '"30 degC": must be above alarm_high, "31 degC"'),
        (T, TEMPERATURE | {"danger_low": "25 degC", "danger_high": "24 degC"}, f"{T}.danger_high", "above danger_low"),
        (T, TEMPERATURE | {"sensor_range": ["0 degC", "29 degC"], "danger_high": "30 degC"}, f"{T}.danger_high", "within sensor_range"),
        (T, TEMPERATURE | {"alarm_low": "24 degC", "alarm_high": "26 degC", "deadband": "2 degC"}, f"{T}.deadband", "smaller than the span"),
        (f"{T}.deadband", "-0.1 degC", f"{T}.deadband", "negative"),
        (f"{T}.on_delay", "ten minutes", f"{T}.on_delay", '"ten minutes"'),
        (T, TEMPERATURE | {"alarm_rate": "1 degC/h", "alarm_rate_window": "1 min"}, f"{T}.alarm_rate_window", '"1 min"'),
        (f"{LEAK}.alarm_low", "1 L", f"{LEAK}.alarm_low", "use alarm_state"),
        (f"{LEAK}.alarm_state", "wett", f"{LEAK}.alarm_state", '"wett"'),
        (f"{T}.alarm_state", "closed", f"{T}.alarm_state", "only for a contact or state"),
        # recurring works
        ("works", [{}], "works[0].tank", "missing"),
        ("works", [WORK | {"tank": "reaf"}], "works[0].tank", 'did you mean "reef"'),
        ("works", [WORK | {"kind": "feeding"}], "works[0].kind", 'did you mean "feeding_pause"'),
        ("works", [WORK | {"starts": "six"}], "works[0].starts", "a time on the tank's wall"),
        ("works", [WORK | {"starts": "2026-01-03 18:00+01:00"}], "works[0].starts", "without a zone"),
        ("works", [WORK | {"lasts": "25 h"}], "works[0].lasts", "at most 86400 s"),
        ("works", [WORK | {"repeats": "every day"}], "works[0].repeats", "FREQ is one of DAILY"),
        # sources and boards
        ("sources.0.topic", "boards/#/x", "sources[0].topic", '"boards/#/x": # can only be the last level'),
        ("sources.0.topic", "boards/a+", "sources[0].topic", "stand alone between slashes"),
        ("sources.0.topic", "", "sources[0].topic", "1 to 65535 bytes"),
        ("sources.0.format", "jsn", "sources[0].format", 'did you mean "json"'),
        ("sources.0.time_format", "rfc333", "sources[0].time_format", 'did you mean "rfc3339"'),
        ("sources.0.time", "/at", "sources[0].time", "only json"),
        ("sources.0.tank", "reaf", "sources[0].tank", 'did you mean "reef"'),
        ("sources.0.series", "{2}", "sources[0].series", "stands for no wildcard"),
        ("sources.0.series", "{0}", "sources[0].series", "stands for no wildcard"),
        ("sources.0.series", "{}", "sources[0].series", "stands for no wildcard"),
        ("sources.0.series", ..., "sources[0]", "says of no series"),
        ("sources.0.series", "temperature", f"{PH}", "no source brings this series"),
        ("sources.0.unit", "furlong", "sources[0].unit", '"furlong"'),
        ("sources.0", {"topic": "a/+", "format": "json", "tank": "reef", "values": {"t": "{1}"}}, "sources[0].values", "JSON Pointer"),
        ("sources.0", {"topic": "a/+", "format": "senml", "tank": "reef", "values": {"t": "{1}", "p": "phh"}}, "sources[0].values.p", 'did you mean "ph"'),
        ("boards.0.tank", "reaf", "boards[0].tank", 'did you mean "reef"'),
        ("boards.0.series", ["temprature"], "boards[0].series", 'did you mean "temperature"'),
        ("boards.0.topic", "boards/+/status", "boards[0].topic", "no wildcards"),
        ("boards.0.name", "The sump", "boards[0].name", "small letters"),
        ("boards.0.offline", "online", "boards[0].offline", "must differ from online"),
        ("boards", SMALL["boards"] * 2, "boards[1].name", "another board"),
    ],
)  # fmt: skip
def test_mistake_names_key_and_mend(load: Load, path: str, value: Any, key: str, told: str) -> None:
    with pytest.raises(ConfigError) as error:
        load(changed(SMALL, path, value))
    mistakes = str(error.value).splitlines()[1:]
    named = [line for line in mistakes if line.startswith((f"  {key} = ", f"  {key}: "))]
    assert len(named) >= 1, mistakes
    assert told in named[0]


def test_unchanged_configuration_has_no_mistake(load: Load) -> None:
    assert load(SMALL).warnings == ()


@pytest.mark.parametrize(
    ("deadband", "is_right"), [("1.99 degC", True), ("2 degC", False), ("2.01 degC", False)]
)
def test_deadband_must_be_smaller_than_the_span(load: Load, deadband: str, is_right: bool) -> None:
    own = TEMPERATURE | {"alarm_low": "24 degC", "alarm_high": "26 degC", "deadband": deadband}
    if is_right:
        load(changed(SMALL, T, own))
    else:
        with pytest.raises(ConfigError, match="deadband"):
            load(changed(SMALL, T, own))


@pytest.mark.parametrize(
    ("danger", "is_right"), [("28.9 degC", True), ("29 degC", True), ("29.1 degC", False)]
)
def test_limits_may_lie_on_the_edge_of_the_sensor_range(load: Load, danger: str, is_right: bool) -> None:
    own = TEMPERATURE | {"sensor_range": ["0 degC", "29 degC"], "danger_high": danger}
    if is_right:
        load(changed(SMALL, T, own))
    else:
        with pytest.raises(ConfigError, match="sensor_range"):
            load(changed(SMALL, T, own))
