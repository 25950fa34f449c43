"""Seawater at the surface: practical salinity, conductivity, density and specific gravity.

All of it is `gsw`. The water of a tank belongs to no place in the ocean, so it is taken to have the
reference composition: absolute salinity is 35.16504/35 of practical salinity in g/kg.
"""

from __future__ import annotations

# g/kg of the reference composition per unit of practical salinity (Millero et al. 2008).
REFERENCE_SALINITY_RATIO = 35.16504 / 35.0
# The Gibbs function of seawater is defined up to this absolute salinity, g/kg (Feistel 2008).
MOST_ABSOLUTE_SALINITY = 120.0
# Newton's steps to stop at: 1e-9 g/kg is far below what any instrument resolves.
_CLOSE_ENOUGH = 1e-9
_MOST_STEPS = 20


def practical_salinity(conductivity: float, temperature: float) -> float:
    """Practical salinity of a measured conductivity.

    Parameters
    ----------
    conductivity
        As measured, not compensated by the probe, mS/cm.
    temperature
        In situ, ITS-90, degC.

    Returns
    -------
    float
        PSS-78 for 2 to 42 at -2 to 35 degC, its extension of Hill et al. (1986) below 2; NaN if an input
        is NaN or the conductivity is below 0.

    References
    ----------
    UNESCO Technical Papers in Marine Science 44 (1983), through `gsw.SP_from_C`.
    """
    import gsw

    return float(gsw.SP_from_C(conductivity, temperature, 0.0))


def conductivity(salinity: float, temperature: float) -> float:
    """Conductivity in mS/cm of a practical salinity at a temperature in degC (ITS-90)."""
    import gsw

    return float(gsw.C_from_SP(salinity, temperature, 0.0))


def density(salinity: float, temperature: float) -> float:
    """Density in kg/m3 of a practical salinity, 0 for pure water, at a temperature in degC (ITS-90).

    References
    ----------
    TEOS-10, through `gsw.rho_t_exact` at a sea pressure of 0 dbar.
    """
    return _density(salinity * REFERENCE_SALINITY_RATIO, temperature)


def specific_gravity(salinity: float, sample: float, water: float) -> float:
    """Density of a practical salinity at `sample` over that of pure water at `water`, both degC.

    The pair is what hydrometers and refractometers print: "20/20 degC", "60/60 degF", "25/4 degC".
    """
    return density(salinity, sample) / density(0.0, water)


def salinity_of_specific_gravity(gravity: float, sample: float, water: float) -> float:
    """Practical salinity of a specific gravity at its pair of reference temperatures, degC.

    Returns
    -------
    float
        NaN if the input is NaN.

    Raises
    ------
    ValueError
        If it is lighter than pure water at `sample`, or heavier than water of 120 g/kg.
    """
    if gravity != gravity:
        return gravity
    wanted = gravity * density(0.0, water)
    # Rounding may put pure water, computed elsewhere, a hair below itself: 1e-9 of it is 1e-6 in salinity.
    lightest = _density(0.0, sample) * (1.0 - 1e-9)
    heaviest = _density(MOST_ABSOLUTE_SALINITY, sample)
    if not lightest <= wanted <= heaviest:
        least, most = (one / density(0.0, water) for one in (lightest, heaviest))
        raise ValueError(f"no seawater has specific gravity {gravity:g}: it is {least:.4f} to {most:.4f}")
    return _solve_absolute_salinity(wanted, sample) / REFERENCE_SALINITY_RATIO


def salinity_of_mass_concentration(grams_per_litre: float, temperature: float) -> float:
    """Practical salinity of a mass of salt per litre of seawater at a temperature in degC.

    Returns
    -------
    float
        NaN if an input is NaN.

    Raises
    ------
    ValueError
        If it is below 0 or above 120 g/kg.
    """
    if grams_per_litre != grams_per_litre:
        return grams_per_litre
    most = MOST_ABSOLUTE_SALINITY * _density(MOST_ABSOLUTE_SALINITY, temperature) / 1000.0
    if not 0.0 <= grams_per_litre <= most:
        raise ValueError(f"no seawater has {grams_per_litre:g} g/L of salt: it is 0 to {most:.0f}")
    absolute = grams_per_litre
    for _ in range(_MOST_STEPS):
        # Density moves by less than 0.1 % per g/kg: each step gains at least one digit.
        previous, absolute = absolute, grams_per_litre * 1000.0 / _density(absolute, temperature)
        if abs(absolute - previous) < _CLOSE_ENOUGH:
            break
    return absolute / REFERENCE_SALINITY_RATIO


def _density(absolute_salinity: float, temperature: float) -> float:
    import gsw

    return float(gsw.rho_t_exact(absolute_salinity, temperature, 0.0))


def _solve_absolute_salinity(wanted: float, temperature: float) -> float:
    """Absolute salinity at which density is `wanted`, by Newton's method on a nearly straight line."""
    import gsw

    absolute = (wanted - _density(0.0, temperature)) / 0.75
    for _ in range(_MOST_STEPS):
        absolute = max(absolute, 0.0)
        found = _density(absolute, temperature)
        step = (wanted - found) / (found * float(gsw.beta_const_t_exact(absolute, temperature, 0.0)))
        absolute += step
        if abs(step) < _CLOSE_ENOUGH:
            break
    return max(absolute, 0.0)
