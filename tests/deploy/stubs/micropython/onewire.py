"""Stands in for MicroPython's."""


class OneWire:
    def __init__(self, pin):
        self.pin = pin
