"""Runs a sketch for MicroPython: `board.py main.py ROUNDS START_S`, with a clock that only sleeping moves."""

import sys
import time
from pathlib import Path

sketch, rounds, start_s = Path(sys.argv[1]), int(sys.argv[2]), int(sys.argv[3])
sys.path[:0] = [str(sketch.parent), str(Path(__file__).parent)]
ticks = 0
slept = 0


def sleep_ms(milliseconds):
    global ticks, slept
    ticks += milliseconds
    if milliseconds > 750:
        slept += 1
        if slept == rounds:
            raise SystemExit


time.sleep_ms = sleep_ms
time.ticks_ms = lambda: ticks
time.ticks_diff = lambda later, earlier: later - earlier
time.time = lambda: start_s + ticks // 1000
exec(compile(sketch.read_text(), str(sketch), "exec"), {"__name__": "__main__"})
