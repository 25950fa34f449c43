"""The carbonate system of seawater: which pH do an alkalinity and a dissolved inorganic carbon give?

Carbonate, borate and water, on the total pH scale; sulphate, phosphate and silicate are left out, which
costs less than 0.01 pH between 7.5 and 9.3 at 20 to 30 degC. The reference library `PyCO2SYS` holds it to
that in the tests; it is not needed at run time.
"""

from __future__ import annotations

import math

_KELVIN = 273.15
_CLOSE_ENOUGH = 1e-7


def _constants(salinity: float, temperature: float) -> tuple[float, float, float, float, float]:
    """K1, K2, KB, Kw (total scale, mol/kg) and total boron (mol/kg).

    References
    ----------
    K1, K2: Lueker, Dickson and Keeling (2000), Mar. Chem. 70:105. KB: Dickson (1990), Deep-Sea Res. 37:755.
    Kw: Millero (1995), Geochim. Cosmochim. Acta 59:661. Boron: Lee et al. (2010), GCA 74:1801. The
    coefficients are from memory; the test against `PyCO2SYS` is what they stand on.
    """
    kelvin = temperature + _KELVIN
    log, root = math.log(kelvin), math.sqrt(salinity)
    pk1 = 3633.86 / kelvin - 61.2172 + 9.67770 * log - 0.011555 * salinity + 0.0001152 * salinity**2
    pk2 = 471.78 / kelvin + 25.9290 - 3.16967 * log - 0.01781 * salinity + 0.0001122 * salinity**2
    ln_kb = (
        (-8966.90 - 2890.53 * root - 77.942 * salinity + 1.728 * salinity * root - 0.0996 * salinity**2)
        / kelvin
        + 148.0248
        + 137.1942 * root
        + 1.62142 * salinity
        - (24.4344 + 25.085 * root + 0.2474 * salinity) * log
        + 0.053105 * root * kelvin
    )
    ln_kw = (
        148.9652
        - 13847.26 / kelvin
        - 23.6521 * log
        + (118.67 / kelvin - 5.977 + 1.0495 * log) * root
        - 0.01615 * salinity
    )
    return (
        math.pow(10.0, -pk1),
        math.pow(10.0, -pk2),
        math.exp(ln_kb),
        math.exp(ln_kw),
        0.0004326 * salinity / 35.0,
    )


def carbon_of(alkalinity: float, ph: float, salinity: float = 35.0, temperature: float = 25.0) -> float:
    """Dissolved inorganic carbon that belongs to an alkalinity and a pH.

    Parameters
    ----------
    alkalinity
        Total alkalinity, umol/kg.
    ph
        On the total scale.
    salinity, temperature
        PSS-78, and ITS-90 in degC.

    Returns
    -------
    float
        umol/kg.
    """
    k1, k2, kb, kw, boron = _constants(salinity, temperature)
    h = math.pow(10.0, -ph)
    carbonate = alkalinity * 1e-6 - boron * kb / (kb + h) - kw / h + h
    return carbonate * (h * h + k1 * h + k1 * k2) / (k1 * h + 2.0 * k1 * k2) * 1e6


def ph_of(alkalinity: float, carbon: float, salinity: float = 35.0, temperature: float = 25.0) -> float:
    """Total-scale pH at which a dissolved inorganic carbon (umol/kg) has an alkalinity (umol/kg)."""
    # For a given pH carbon grows with alkalinity, so at a given alkalinity it falls with pH: halve the span.
    low, high = 4.0, 12.0
    while high - low > _CLOSE_ENOUGH:
        middle = (low + high) / 2
        if carbon_of(alkalinity, middle, salinity, temperature) > carbon:
            low = middle
        else:
            high = middle
    return (low + high) / 2
