"""Every accepted spelling in one table: what a value means, and what a difference of values means.

Expected values are definitions (SI prefixes, the international inch, both gallons, degrees Fahrenheit) or
say where they come from. What a difference cannot be converted for is None.
"""

from __future__ import annotations

import pytest

from collector.errors import ConfigError, PayloadError
from collector.units import SPELLINGS, accepted, converter, identity, parse_quantity
from collector.units.spellings import REFUSED, SAME, Own, unit_of, why_not
from rules import QUANTITIES
from tests.units.series import knowing, series

# 1 meq/L is half a mole of CaO (56.077 g/mol) or CaCO3 (100.086 g/mol), by standard atomic weights (IUPAC);
# a degree is 10 mg/L of CaO. 1 meq/L = 2.8039 dKH.
DEGREE = 1 / 2.8039
CACO3 = 2 / 100.086

# quantity, spelling, a value that arrives, what it is, what 10 of difference are
ROWS: list[tuple[str, str, float, float, float | None]] = [
    *[("temperature", spelling, 25.4, 25.4, 10.0) for spelling in ("degC", "°C", "℃", "C", "Cel", "celsius")],
    *[("temperature", spelling, 77.0, 25.0, 50 / 9) for spelling in ("degF", "°F", "℉", "F", "fahrenheit")],
    ("temperature", "K", 298.15, 25.0, 10.0),
    *[("ph", spelling, 8.12, 8.12, 10.0) for spelling in ("pH", "ph", "")],
    # Two buffers: pH 7.00 at -6.0 mV, 10.01 at -178.0 mV; worked example, see test_ph.py.
    ("ph", "mV", -72.0, 8.155, None),
    ("ph", "V", -0.072, 8.155, None),
    *[
        ("practical_salinity", spelling, 34.9, 34.9, 10.0)
        for spelling in ("", "PSS-78", "practical_salinity", "practical salinity", "psu", "PSU")
    ],
    # Reference composition (Millero et al. 2008): 35.16504 g/kg are practical salinity 35.
    ("practical_salinity", "g/kg", 35.16504, 35.0, 10 * 35 / 35.16504),
    # 35.986 g/L at 25 degC, computed with gsw 3.6.
    ("practical_salinity", "g/L", 35.986, 35.0, None),
    ("practical_salinity", "g/l", 35.986, 35.0, None),
    # At 20/20 degC, computed with the older equation of state (EOS-80).
    *[("practical_salinity", spelling, 1.02660, 35.0, None) for spelling in ("sg", "SG", "specific_gravity")],
    *[
        (quantity, spelling, *row)
        for quantity in ("conductivity", "specific_conductance")
        for spelling, row in {
            "mS/cm": (53.0, 53.0, 10.0),
            "dS/m": (53.0, 53.0, 10.0),
            "uS/cm": (53_000.0, 53.0, 0.01),
            "µS/cm": (53_000.0, 53.0, 0.01),
            "μS/cm": (53_000.0, 53.0, 0.01),
            # C(35, 15, 0) = 42.914 mS/cm = 4.2914 S/m: Culkin and Smith (1980).
            "S/m": (4.2914, 42.914, 100.0),
            "mS/m": (4291.4, 42.914, 0.1),
        }.items()
    ],
    *[("volume", spelling, 20.5, 20.5, 10.0) for spelling in ("L", "l", "litre", "liter")],
    ("volume", "mL", 500.0, 0.5, 0.01),
    ("volume", "ml", 500.0, 0.5, 0.01),
    ("volume", "m3", 0.4, 400.0, 10_000.0),
    ("volume", "m³", 0.4, 400.0, 10_000.0),
    ("volume", "gal_us", 100.0, 378.5411784, 37.85411784),
    ("volume", "gal_imp", 100.0, 454.609, 45.4609),
    # Through the table 0, 10, 30 cm are 0, 6, 18.5 L, by hand.
    ("volume", "cm", 20.0, 12.25, None),
    ("volume", "mm", 200.0, 12.25, None),
    ("volume", "m", 0.2, 12.25, None),
    ("volume", "in", 5.0, 6 + 2.7 / 20 * 12.5, None),
    ("volume", "inch", 5.0, 6 + 2.7 / 20 * 12.5, None),
    ("volume", "count", 512.0, 10.0, None),
    ("volume", "#", 512.0, 10.0, None),
    ("water_level", "cm", 22.1, 22.1, 10.0),
    ("water_level", "mm", 221.0, 22.1, 1.0),
    ("water_level", "m", 0.221, 22.1, 1000.0),
    ("water_level", "in", 10.0, 25.4, 25.4),
    ("water_level", "inch", 10.0, 25.4, 25.4),
    ("power", "W", 300.0, 300.0, 10.0),
    ("power", "kW", 0.3, 300.0, 10_000.0),
    ("power", "mW", 1500.0, 1.5, 0.01),
    ("alkalinity", "meq/L", 2.9, 2.9, 10.0),
    ("alkalinity", "meq/l", 2.9, 2.9, 10.0),
    ("alkalinity", "dKH", 8.0, 8 * DEGREE, 10 * DEGREE),
    ("alkalinity", "°dKH", 8.0, 8 * DEGREE, 10 * DEGREE),
    *[
        ("alkalinity", spelling, 150.0, 150 * CACO3, 10 * CACO3)
        for spelling in ("mg/L CaCO3", "mg/l CaCO3", "ppm CaCO3")
    ],
    ("redox_potential", "mV", 350.0, 350.0, 10.0),
    ("redox_potential", "V", 0.35, 350.0, 10_000.0),
    *[("dissolved_oxygen", spelling, 6.8, 6.8, 10.0) for spelling in ("mg/L", "mg/l", "g/m3")],
    *[("flow", spelling, 1200.0, 1200.0, 10.0) for spelling in ("L/h", "l/h")],
    *[("flow", spelling, 1500.0, 1.5, 0.01) for spelling in ("mL/h", "ml/h")],
    *[("flow", spelling, 1.2, 1200.0, 10_000.0) for spelling in ("m3/h", "m³/h")],
    *[("flow", spelling, 20.0, 1200.0, 600.0) for spelling in ("L/min", "l/min")],
    *[("flow", spelling, 20.0, 1.2, 0.6) for spelling in ("mL/min", "ml/min")],
    *[("flow", spelling, 0.5, 1800.0, 36_000.0) for spelling in ("L/s", "l/s")],
    *[("flow", spelling, 0.001, 3600.0, 36_000_000.0) for spelling in ("m3/s", "m³/s")],
    ("flow", "gal_us/h", 100.0, 378.5411784, 37.85411784),
    ("flow", "gal_us/min", 1.0, 227.12470704, 2271.2470704),
    ("flow", "gal_imp/h", 100.0, 454.609, 45.4609),
    ("relative_humidity", "%RH", 55.0, 55.0, 10.0),
    ("relative_humidity", "%", 55.0, 55.0, 10.0),
    ("contact", "", 1.0, 1.0, 10.0),
    ("state", "", 1.0, 1.0, 10.0),
]


def test_the_table_here_has_every_spelling_once() -> None:
    here = [(quantity, spelling) for quantity, spelling, *_ in ROWS]
    assert sorted(here) == sorted((quantity, one) for quantity in SPELLINGS for one in SPELLINGS[quantity])
    assert set(SPELLINGS) == set(QUANTITIES)


@pytest.mark.parametrize(("quantity", "spelling", "value", "expected", "_difference"), ROWS)
def test_value_that_arrives(
    quantity: str, spelling: str, value: float, expected: float, _difference: float | None
) -> None:
    convert = converter(spelling, knowing(quantity, spelling))
    assert convert(value) == pytest.approx(expected, **_tolerance(quantity, spelling))
    if expected == value and unit_of(spelling, quantity) is SAME:
        assert convert is identity


def _tolerance(quantity: str, spelling: str) -> dict[str, float]:
    """Half of the last digit that the expected values are given with."""
    if SPELLINGS[quantity][spelling] is Own.SPECIFIC_GRAVITY:
        # 0.000005 is 0.007 in salinity, and the two equations of state differ by as much.
        return {"abs": 0.011}
    if SPELLINGS[quantity][spelling] is Own.MASS_CONCENTRATION:
        return {"abs": 6e-4}
    return {"rel": 3e-5} if quantity == "alkalinity" else {"rel": 1e-12}


@pytest.mark.parametrize(("quantity", "spelling", "_value", "_expected", "difference"), ROWS)
def test_difference_in_a_configuration(
    quantity: str, spelling: str, _value: float, _expected: float, difference: float | None
) -> None:
    text = f"10 {spelling}"
    if difference is None:
        with pytest.raises(ConfigError, match="equal steps"):
            parse_quantity(text, quantity, difference=True)
        return
    found = parse_quantity(text, quantity, difference=True)
    assert found == pytest.approx(difference, **_tolerance(quantity, spelling))


@pytest.mark.parametrize(
    ("quantity", "spelling"), [(quantity, one) for quantity in REFUSED for one in REFUSED[quantity]]
)
def test_ambiguous_spelling_is_refused_with_what_to_write(quantity: str, spelling: str) -> None:
    assert spelling not in SPELLINGS[quantity]
    with pytest.raises(ConfigError, match="not accepted") as raised:
        parse_quantity(f"35 {spelling}", quantity)
    assert REFUSED[quantity][spelling] in str(raised.value)
    with pytest.raises(PayloadError, match="not accepted"):
        converter(spelling, series(quantity))


def test_ppt_says_the_three_things_it_could_be() -> None:
    message = why_not("ppt", "practical_salinity")
    for right in ("practical salinity", "g/kg", "g/L"):
        assert right in message


@pytest.mark.parametrize(
    ("quantity", "spelling", "meant"),
    [
        ("temperature", "degc", "degC"),
        ("temperature", "celcius", "celsius"),
        ("conductivity", "ms/cm", "mS/cm"),
        ("conductivity", "us/cm", "uS/cm"),
        ("flow", "L/hr", "L/h"),
        ("alkalinity", "dkh", "dKH"),
        ("relative_humidity", "%rh", "%RH"),
    ],
)
def test_nearest_spelling_is_suggested(quantity: str, spelling: str, meant: str) -> None:
    assert f'did you mean "{meant}"?' in why_not(spelling, quantity)


def test_spelling_of_another_quantity_is_told() -> None:
    assert "belongs to conductivity" in why_not("mS/cm", "temperature")


@pytest.mark.parametrize("quantity", QUANTITIES)
def test_every_refusal_lists_what_is_accepted(quantity: str) -> None:
    message = why_not("furlong", quantity)
    assert all(one in message for one in accepted(quantity))


def test_a_long_spelling_is_not_repeated_at_length() -> None:
    assert len(why_not("x" * 5000, "temperature")) < 400
