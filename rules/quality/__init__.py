"""The tests of the IOOS QARTOD manuals, one a file: what each asks, and where it is.

=====  ================  ===============================================================================
No.    test              where
=====  ================  ===============================================================================
1      gap               `rules.quality.gap`; the silence itself rings through `rules.silence`
2      syntax            at intake, `collector.payloads`: what does not parse is no reading, is quarantined
                         and counted
3      location          does not apply: a tank stays where it is
4      gross range       `rules.quality.gross_range`
5      climatology       `rules.quality.climatology`, by the learned band and by fixed seasons
6      spike             `rules.quality.spike`, both methods, one reading late
7      rate of change    `rules.quality.rate_of_change`, by a fixed rate and by the series' own spread
8      flat line         `rules.quality.flat_line`, by elapsed time
9      multi-variate     `rules.quality.multivariate`, at the steps of a tank
10     attenuated signal `rules.quality.attenuated_signal`
11     neighbour         `rules.quality.neighbor`, at the steps of a tank
=====  ================  ===============================================================================

Flags are 1 pass, 2 not evaluated, 3 suspect, 4 fail, 9 missing (`rules.flags`). `rules.quality.suite` runs
the tests of single readings, `rules.quality.packed` keeps the flag of each test beside the primary one. A
flag that was given is never changed, but for a reading that was waiting for its neighbour or its cell.
"""
