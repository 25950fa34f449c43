"""Every key of the configuration file: its type, unit, default and meaning, in one place.

The models hold what was written, as text with units; `collector.settings.resolve` turns that into a
`Configuration`. Field descriptions are what `brinebell check --keys` prints and what the tests hold the
example file against.
"""

from __future__ import annotations

from pydantic import Field, SecretStr
from pydantic_settings import BaseSettings, PydanticBaseSettingsSource, SettingsConfigDict

from collector.settings.database_model import DatabaseSettings
from collector.settings.people_model import PersonSettings, TellingSettings
from collector.settings.quality_model import (
    AttenuatedSignalSettings,
    ClimatologySettings,
    CompanionSettings,
    FlatLineSettings,
    RateOfChangeSpreadSettings,
    SpikeSettings,
)
from collector.settings.table import Table, key, required, table
from rules import Priority

ENVIRONMENT_PREFIX = "BRINEBELL_"
ENVIRONMENT_DELIMITER = "__"


class ServiceSettings(Table):
    """What the service keeps, where, and how often."""

    folder: str = key(
        "where readings are kept, a folder of its own; relative to this file", "brinebell-data", like='"data"'
    )
    commit_interval: str = key(
        "longest time between two commits; 0 s commits when the store is free. 1 s spares SD cards",
        "1 s",
        like='"1 s"',
        unit="duration",
    )
    keep_readings: str = key(
        "how long every single reading is kept, 30 days at least; what is older stays as low, mean and high "
        "of each minute, and whole within a day of incidents. Six series every 10 s take a GB a year",
        "forever",
        like='"400 days"',
        unit="duration",
    )
    allowance: str = key(
        "rules over several series look this far behind the newest reading, so that boards which "
        "publish a little apart are read together",
        "5 s",
        like='"5 s"',
        unit="duration",
    )
    outage_after: str = key(
        "an outage of this service that lasted longer is told at the next start, with what was missed",
        "10 min",
        like='"10 min"',
        unit="duration",
    )
    sign_of_life_url: str | None = key(
        "address elsewhere that is asked for (GET) once a minute while the service does its work, so that "
        "somebody notices when the house is without current; only its host is ever logged",
        like='"https://watch.example/reef"',
    )


class MqttSettings(Table):
    """Where the broker is and how to log in."""

    host: str = key("name or address of the broker", "127.0.0.1", like='"127.0.0.1"')
    port: int = key("its port; 8883 is usual with TLS", 1883, like="1883")
    client_id: str = key(
        "name of this service at the broker; no other client may have it", "brinebell", like='"brinebell"'
    )
    username: str | None = key("user at the broker", like='"brinebell"')
    password_file: str | None = key(
        "file that holds the password and nothing else; keep it readable by the service alone",
        like='"mqtt.password"',
    )
    password: SecretStr | None = key("the password: from the environment only, never in this file", like="")
    tls: bool = key("whether the connection is encrypted", default=False, like="true")
    ca_file: str | None = key(
        "certificate authority of the broker, PEM; without it the system's own list", like='"ca.pem"'
    )
    keep_alive: str = key(
        "longest silence on the line before the broker takes us for lost",
        "60 s",
        like='"60 s"',
        unit="duration",
    )
    receive_maximum: int = key(
        "messages the broker may send ahead of our acknowledgement; a small window starves a slow commit",
        1000,
        like="1000",
    )
    takes_requests: bool = key(
        "whether brinebell/<tank>/requests is heard: works, answers; the broker must give that right to few",
        default=False,
        like="true",
    )
    outage_after: str = key(
        "a broker that cannot be reached for longer is told, for nothing is watched meanwhile",
        "15 min",
        like='"15 min"',
        unit="duration",
    )
    publishes: bool = key(
        "whether states of alarms, quality and the usual band are published for others, retained, under "
        "brinebell/<tank>/; on, for they say no more than the readings on the same broker do",
        default=True,
        like="true",
    )
    session_expiry: str = key(
        "how long the broker keeps messages for us while we are away",
        "7 days",
        like='"7 days"',
        unit="duration",
    )


class PageSettings(Table):
    """The page that shows now."""

    enabled: bool = key("whether the page is served", default=True, like="true")
    listen: str = key(
        "address and port; one that other machines reach asks for a password_file or a user_header",
        "127.0.0.1:8460",
        like='"127.0.0.1:8460"',
    )
    password_file: str | None = key(
        "file with the hash of the page's password, made by `brinebell password`; with it everybody logs in",
        like='"page.password"',
    )
    proxies: list[str] = key(
        "addresses or networks of reverse proxies whose word is believed: who has logged in, and from where",
        [],
        like='["127.0.0.1"]',
    )
    user_header: str | None = key(
        "header in which such a proxy says who has logged in there; it must drop one that comes from outside",
        like='"X-Remote-User"',
    )
    public_url: str | None = key(
        "address at which a phone reaches the page, told in messages", like='"http://tank.example:8460"'
    )


class UnitsSettings(Table):
    """In which units people read values, on pages and in messages; what is stored stays canonical."""

    temperature: str = key("degC or degF", "degC", like='"degF"')
    volume: str = key("L, gal_us or gal_imp", "L", like='"gal_us"')
    water_level: str = key("cm, mm or in", "cm", like='"in"')
    alkalinity: str = key("meq/L, dKH or mg/L CaCO3", "meq/L", like='"dKH"')
    flow: str = key("L/h, gal_us/h or gal_imp/h", "L/h", like='"gal_us/h"')


class CalibrationSettings(Table):
    """Two buffers of a pH electrode that arrives as millivolts (two-point calibration, Nernst slope)."""

    first: list[str] = required(
        "pH and millivolts in the first buffer", like='["7.00 pH", "-6.0 mV"]', unit="pH, mV"
    )
    second: list[str] = required(
        "pH and millivolts in the second buffer", like='["10.01 pH", "-178.0 mV"]', unit="pH, mV"
    )
    temperature: str = key("temperature of both buffers", "25 degC", like='"25 degC"', unit="temperature")


class LevelTableSettings(Table):
    """What a height means in litres; heights between rows are interpolated."""

    unit: str = required("unit of the heights", like='"cm"')
    heights: list[float] = required("heights, rising", like="[0, 10, 20]", unit="the table's unit")
    litres: list[float] = required("litres at these heights", like="[0, 18, 36]", unit="L")


class SeriesSettings(Table):
    """One series: what it is, how it arrives, how its readings are judged, and when it rings."""

    quantity: str = required("what is measured", like='"temperature"')
    title: str | None = key("what a person reads; without it the key in words", like='"Display temperature"')

    unit: str | None = key(
        "unit of arriving values that bring none; without it the canonical unit", like='"degF"'
    )
    scale: str | None = key(
        'pH scale: "nbs", "total", "seawater" or "free"; buffers from a bottle give nbs, the default of pH',
        like='"nbs"',
    )
    reference: str | None = key(
        "reference temperatures of a specific gravity: sample/water", like='"20/20 degC"'
    )
    words: dict[str, bool] | None = key(
        "own words for the two states; true is closed or on", like="{ wet = true, dry = false }"
    )
    inverted: bool = key("whether the two states change places on arrival", default=False, like="true")
    calibration: CalibrationSettings | None = table("for a pH electrode that arrives as millivolts")
    level_table: LevelTableSettings | None = table("for a volume that arrives as a height")
    temperature_from: str | None = key(
        "series of the same tank whose temperature compensates this one", like='"temperature"'
    )
    derived_from: str | None = key(
        "conductivity series of the same tank from which this practical salinity is computed",
        like='"conductivity"',
    )

    sensor_range: list[str] | None = key(
        "what the sensor can show; a reading outside fails (QARTOD test 4)",
        like='["-5 degC", "60 degC"]',
        unit="the series' unit",
    )
    usual_range: list[str] | None = key(
        "what is plausible here; a reading outside is suspect (QARTOD test 4)",
        like='["15 degC", "35 degC"]',
        unit="the series' unit",
    )
    spike: SpikeSettings | None = table("single readings that jump out and back (QARTOD test 6)")
    rate_of_change: str | None = key(
        "a faster change between two readings is suspect (QARTOD test 7)",
        like='"30 degC/h"',
        unit="the series' unit per time",
    )
    rate_of_change_spread: RateOfChangeSpreadSettings | None = table(
        "changes that are great beside how the series moved lately (QARTOD test 7)"
    )
    flat_line: FlatLineSettings | None = table("values that stay the same for too long (QARTOD test 8)")
    climatology: ClimatologySettings | None = table(
        "values that are unusual for this time of day, week and year (QARTOD test 5)"
    )
    attenuated_signal: AttenuatedSignalSettings | None = table(
        "values that move, but too little for too long (QARTOD test 10)"
    )
    multivariate: CompanionSettings | None = table(
        "a move while a series of another quantity stands still (QARTOD test 9)"
    )
    neighbor: CompanionSettings | None = table(
        "a move while another probe of the same quantity stands still (QARTOD test 11)"
    )
    gap: str | None = key(
        "longest time between two readings; after it the probe is called silent (QARTOD test 1)",
        like='"10 min"',
        unit="duration",
    )
    probe_priority: Priority = key("priority of alarms about the probe itself", Priority.HIGH, like='"high"')

    alarm_low: str | None = key("rings below this", like='"24 degC"', unit="the series' unit")
    alarm_high: str | None = key("rings above this", like='"27 degC"', unit="the series' unit")
    danger_low: str | None = key(
        "life is at risk below this; projections run to it", like='"21 degC"', unit="the series' unit"
    )
    danger_high: str | None = key(
        "life is at risk above this; projections run to it", like='"30 degC"', unit="the series' unit"
    )
    alarm_state: str | None = key("the state that rings, of a contact or state", like='"closed"')
    deadband: str | None = key(
        "how far back inside the limit a value must come to return to normal",
        like='"0.15 degC"',
        unit="difference in the series' unit",
        otherwise="by quantity, see the end",
    )
    on_delay: str | None = key(
        "how long a value must be beyond its limit, or danger line, before it rings",
        like='"10 min"',
        unit="duration",
        otherwise="by quantity, see the end",
    )
    off_delay: str | None = key(
        "how long it must be back before the alarm returns to normal",
        like='"15 min"',
        unit="duration",
        otherwise="by quantity, see the end",
    )
    priority: Priority = key(
        'how soon its alarms want an answer: "urgent" now, "high" today, "low" when there is time',
        Priority.HIGH,
        like='"high"',
    )
    danger_priority: Priority = key("priority of its danger alarms", Priority.URGENT, like='"urgent"')
    latches: bool = key(
        "whether its alarms stay in the list when their condition is gone, until somebody resets them",
        default=False,
        like="true",
    )
    alarm_rate: str | None = key(
        "rings when the robust slope is steeper than this, up or down",
        like='"0.6 degC/h"',
        unit="the series' unit per time",
    )
    alarm_rate_window: str = key(
        "the stretch over which that slope is taken", "1 h", like='"1 h"', unit="duration"
    )


class TankSettings(Table):
    """One tank."""

    title: str | None = key("what people call it; without it the key in words", like='"The reef"')
    time_zone: str = key("IANA name; days and nights of this tank follow it", "UTC", like='"UTC"')
    volume: str | None = key("water in the whole system", like='"400 L"', unit="volume")
    equipment: list[str] = key(
        "what hangs on it; a fault is looked for only where there is equipment that can have it",
        [],
        like='["heater", "top_off"]',
    )
    roles: dict[str, str] = key(
        "which series speaks for what, where their names do not say it; the roles stand at the end",
        {},
        like='{ temperature = "temperature" }',
    )
    faults: dict[str, dict[str, str]] = key(
        "own values of a fault's parameters", {}, like='{ heater_failed_off = { margin = "0.15 degC" } }'
    )
    series: dict[str, SeriesSettings] = key("its series", {}, like="")


class SourceSettings(Table):
    """How the messages of some topics become readings."""

    topic: str = required(
        "MQTT topic filter; + and # are allowed and numbered from 1", like='"boards/sump/+"'
    )
    format: str = required("payload format: number, json, senml, homie or line_protocol", like='"number"')
    tank: str = required("its tank; {1}, {2} stand for what the wildcards matched", like='"reef"')
    series: str | None = key("the series, for payloads of one value; {1}, {2} as above", like='"{1}"')
    values: dict[str, str] | None = key(
        "name inside the payload (JSON Pointer, SenML name, field key) to series", like='{ "/ph" = "ph" }'
    )
    unit: str | None = key("unit of values of this source that bring none", like='"degC"')
    time: str | None = key("JSON Pointer to the time of observation, for json", like='"/time"')
    time_format: str = key(
        "how that time is written: rfc3339, unix_s, unix_ms or unix_us", "rfc3339", like='"unix_s"'
    )


class BoardSettings(Table):
    """A board whose last will tells that it is gone."""

    tank: str = required("its tank", like='"reef"')
    name: str = required("its name", like='"sump"')
    topic: str = required("topic of its last will", like='"boards/status/sump"')
    online: str = key("what is said there while it lives", "online", like='"online"')
    offline: str = key("what its last will says", "offline", like='"offline"')
    series: list[str] = key("the series it carries", [], like='["temperature"]')


class WorkSettings(Table):
    """Work that comes again and again, so that it need not be announced each time."""

    tank: str = required("its tank", like='"reef"')
    kind: str = required("what is done: `brinebell work` lists the kinds", like='"feeding_pause"')
    starts: str = required(
        "when it begins the first time, on the clock of the tank's wall", like='"2026-01-03 18:00"'
    )
    lasts: str = required("how long it takes, a day at most", like='"15 min"')
    repeats: str = required(
        "when it comes again: a rule of RFC 5545; UNTIL is on the same clock", like='"FREQ=WEEKLY;BYDAY=SA"'
    )


class Settings(BaseSettings):
    """The whole file. Lists of tables are held by their position, so that a mistake can be named by it."""

    model_config = SettingsConfigDict(
        extra="forbid",
        frozen=True,
        hide_input_in_errors=True,
        env_prefix=ENVIRONMENT_PREFIX,
        env_nested_delimiter=ENVIRONMENT_DELIMITER,
    )

    service: ServiceSettings = Field(default_factory=ServiceSettings)
    mqtt: MqttSettings = Field(default_factory=MqttSettings)
    page: PageSettings = Field(default_factory=PageSettings)
    database: DatabaseSettings | None = None
    units: UnitsSettings = Field(default_factory=UnitsSettings)
    people: dict[str, PersonSettings] = Field(default_factory=dict)
    telling: TellingSettings = Field(default_factory=TellingSettings)
    tanks: dict[str, TankSettings] = Field(default_factory=dict)
    sources: dict[int, SourceSettings] = Field(default_factory=dict)
    boards: dict[int, BoardSettings] = Field(default_factory=dict)
    works: dict[int, WorkSettings] = Field(default_factory=dict)

    @classmethod
    def settings_customise_sources(
        cls,
        settings_cls: type[BaseSettings],  # noqa: ARG003 - the signature is pydantic-settings' own
        init_settings: PydanticBaseSettingsSource,
        env_settings: PydanticBaseSettingsSource,  # noqa: ARG003
        dotenv_settings: PydanticBaseSettingsSource,  # noqa: ARG003
        file_secret_settings: PydanticBaseSettingsSource,  # noqa: ARG003
    ) -> tuple[PydanticBaseSettingsSource, ...]:
        """Take only what is given: `collector.settings.loading` has merged file and environment by then."""
        return (init_settings,)
