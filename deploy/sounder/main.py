"""A sounder that needs no internet: a sketch for a board with MicroPython and Wi-Fi. Read README.md first.

Copy it with decide.py to the board, and put in what is yours below.
"""

import time

import machine
import network
from decide import CHIRP, QUIET, SOUND, Sounder
from umqtt.simple import MQTTClient

WIFI_NAME = "your network"
WIFI_PASSWORD = "its password"
BROKER = "10.0.0.7"
USER = "sounder"
PASSWORD = "the password of this user at the broker"
TANK = "reef"
# [mqtt] client_id of the service.
SERVICE = "brinebell"
# The pin of an active buzzer for the board's own voltage; a louder one needs a transistor.
PIN = 15
# -1 on a board with virtual timers, else the number of one that is free, such as 0.
TIMER = -1

TOPICS = (
    "brinebell/" + TANK + "/sounder",
    "brinebell/service/" + SERVICE + "/sign_of_life",
)
# On and off, in milliseconds.
PATTERNS = {QUIET: (0, 500), SOUND: (400, 300), CHIRP: (60, 9940)}
BEAT_MS = 50
RECONNECT_S = 10


class Clock:
    """Seconds that only grow: the board's own counter of milliseconds begins anew every few days."""

    def __init__(self):
        self.ticks = time.ticks_ms()
        self.passed_ms = 0

    def now_s(self):
        """Seconds since the start."""
        ticks = time.ticks_ms()
        self.passed_ms += time.ticks_diff(ticks, self.ticks)
        self.ticks = ticks
        return self.passed_ms // 1000


def connect(on_message):
    """Reach the broker, or return None; may take its time."""
    try:
        wifi = network.WLAN(network.STA_IF)
        wifi.active(True)
        if not wifi.isconnected():
            wifi.connect(WIFI_NAME, WIFI_PASSWORD)
            return None
        client = MQTTClient("sounder-" + TANK, BROKER, user=USER, password=PASSWORD, keepalive=60)
        client.set_callback(on_message)
        client.connect()
        for topic in TOPICS:
            client.subscribe(topic)
        return client
    except Exception:  # the library raises OSError and its own; a sounder tries again whatever it was
        return None


def run():
    """Listen for ever; the buzzer has a timer of its own, for reaching a broker may take a minute."""
    buzzer = machine.Pin(PIN, machine.Pin.OUT, value=0)
    clock = Clock()
    sounder = Sounder(clock.now_s())
    pattern_ms = 0

    def beat(_timer):
        nonlocal pattern_ms
        on_ms, off_ms = PATTERNS[sounder.what(clock.now_s())]
        pattern_ms = (pattern_ms + BEAT_MS) % (on_ms + off_ms)
        buzzer.value(1 if pattern_ms < on_ms else 0)

    def on_message(topic, payload):
        sounder.hear(topic, payload, clock.now_s())

    timer = machine.Timer(TIMER)
    timer.init(period=BEAT_MS, mode=machine.Timer.PERIODIC, callback=beat)
    client = None
    pinged_s = 0
    while True:
        if client is None:
            client = connect(on_message)
            if client is None:
                time.sleep(RECONNECT_S)
                continue
        try:
            client.check_msg()
            if clock.now_s() - pinged_s >= 30:
                pinged_s = clock.now_s()
                client.ping()
        except Exception:
            client = None
        time.sleep_ms(BEAT_MS)


run()
