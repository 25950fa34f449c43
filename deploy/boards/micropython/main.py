"""A board that measures a tank: a sketch for an ESP32 with MicroPython.

Read README.md in the folder above first. Copy it with readings.py to the board; put in what is yours below.
"""

import time

import ds18x20
import machine
import network
import ntptime
import onewire
from readings import SET_S, Outbox, believable, line, median, pack
from umqtt.simple import MQTTClient

WIFI_NAME = "your network"
WIFI_PASSWORD = "its password"
BROKER = "10.0.0.7"
# As deploy/install --board named it; its password stands in /etc/brinebell/passwords there.
BOARD = "sump"
PASSWORD = "the password of this board at the broker"

# Pins of an ESP32. Analog ones must belong to its first converter, or Wi-Fi disturbs them.
TEMPERATURE_PIN = 4
PH_PIN = 34
CONDUCTIVITY_PIN = 35
LEVEL_PIN = 32
# Two points each: volts at the pin, and what they mean. For the electrode see your amplifier's data sheet.
electrode_volts = line((1.50, 0.0), (2.50, -0.177))
# From two solutions: siemens per metre at the temperature that they have.
conductivity = line((0.10, 0.1413), (2.00, 5.30))
# From two heights of water in the reservoir: metres.
height = line((0.40, 0.0), (2.20, 0.30))

EVERY_S = 10
# Packs kept while the broker is away: ten minutes.
KEPT = 60
# A board that has reached nobody for so long begins anew.
GIVE_UP_S = 300
TIMEOUT_S = 10
# From 2000-01-01, where MicroPython counts from on most boards, to 1970-01-01.
EPOCH_S = 0 if time.gmtime(0)[0] == 1970 else 946684800

READINGS = "boards/" + BOARD + "/readings"
STATUS = "boards/status/" + BOARD


def connect():
    """Reach network, clock and broker, or return None; may take its time."""
    try:
        wifi = network.WLAN(network.STA_IF)
        wifi.active(True)
        if not wifi.isconnected():
            wifi.connect(WIFI_NAME, WIFI_PASSWORD)
            return None
        client = MQTTClient("board-" + BOARD, BROKER, user=BOARD, password=PASSWORD, keepalive=60)
        # The broker says so when the board is gone: that is how Brinebell knows at once.
        client.set_last_will(STATUS, b"offline", retain=True, qos=1)
        client.connect(timeout=TIMEOUT_S)
        client.publish(STATUS, b"online", retain=True, qos=1)
        return client
    except Exception:  # the library raises OSError and its own; a board tries again whatever it was
        return None


def set_clock():
    """Ask the network what time it is; without an answer readings count as of their arrival."""
    try:
        ntptime.settime()
    except Exception:
        pass


def volts(pin):
    """The middle of 31 samples of an analog pin."""
    return median([pin.read_uv() for _ in range(31)]) / 1e6


def run():
    """Measure and publish for ever."""
    wire = ds18x20.DS18X20(onewire.OneWire(machine.Pin(TEMPERATURE_PIN)))
    pins = [
        machine.ADC(machine.Pin(pin), atten=machine.ADC.ATTN_11DB)
        for pin in (PH_PIN, CONDUCTIVITY_PIN, LEVEL_PIN)
    ]
    outbox = Outbox(KEPT)
    client = None
    reached = time.ticks_ms()
    while True:
        begun = time.ticks_ms()
        celsius = None
        try:
            probes = wire.scan()
            wire.convert_temp()
            time.sleep_ms(750)
            celsius = believable(wire.read_temp(probes[0])) if probes else None
        except Exception:  # a probe that does not answer keeps nobody from the others
            pass
        now_s = int(time.time()) + EPOCH_S
        text = pack(
            BOARD,
            (
                ("temperature", "Cel", celsius, 3),
                ("ph", "V", electrode_volts(volts(pins[0])), 5),
                ("conductivity", "S/m", conductivity(volts(pins[1])), 4),
                ("reservoir", "m", height(volts(pins[2])), 4),
            ),
            now_s,
        )
        if text is not None:
            outbox.put(text)
        if client is None:
            client = connect()
            if client is not None and now_s < SET_S:
                set_clock()
        try:
            while client is not None and outbox.first() is not None:
                # Returns when the broker has acknowledged it.
                client.publish(READINGS, outbox.first(), qos=1)
                outbox.sent()
                reached = time.ticks_ms()
        except Exception:
            client = None
        if time.ticks_diff(time.ticks_ms(), reached) > GIVE_UP_S * 1000:
            machine.reset()
        time.sleep_ms(max(0, EVERY_S * 1000 - time.ticks_diff(time.ticks_ms(), begun)))


run()
