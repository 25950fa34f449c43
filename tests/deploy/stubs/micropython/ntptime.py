"""Stands in for MicroPython's."""


def settime():
    pass
