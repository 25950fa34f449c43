"""Trials: how early, how rightly and how quietly the engine names a failure, on tanks that are computed.

    python -m tests.bench.trials --form short          # half a minute; what the test suite holds to bounds
    python -m tests.bench.trials --only heater_failed_off,leak --trials 20 --faults-only --list wrong
    python -m tests.bench.trials --quiet-only --months 4
    python -m tests.bench.trials --fault heater_failed_off --size 400 --seed 7 --explain
    python -m tests.bench.trials --quiet-month 3 --explain
    python -m tests.bench.trials --form short --write-bounds     # after a change for the better: new bounds
    python -m tests.bench.trials --form long --write-bounds --out tests/bench/trials.md

A trial is a tank drawn from a seed (`worlds`), its truth by conservation of heat, water and salt
(`truth`), one thing that goes wrong (`cases`) or a month of life without a fault (`life`), what real
probes make of it (`probes`, `texture`), and what a judge says (`adapter` for the engine, `methods` and
`ideal` for what it is compared with). Nothing in the truth knows how the engine decides.
"""
