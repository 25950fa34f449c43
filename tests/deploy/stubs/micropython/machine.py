"""Stands in for MicroPython's: pins that show fixed volts."""

VOLTS = {34: 1.907, 35: 2.0, 32: 1.3}


class Pin:
    def __init__(self, number):
        self.number = number


class ADC:
    ATTN_11DB = 3

    def __init__(self, pin, atten=0):
        self.samples = 0
        self.volts = VOLTS[pin.number]

    def read_uv(self):
        self.samples += 1
        # Each fifth sample jumps.
        return 3_100_000 if self.samples % 5 == 0 else round(self.volts * 1e6)


def reset():
    raise SystemExit("reset")
