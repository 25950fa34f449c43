"""The water and salt of a tank: what top-off, evaporation and leaks do to salinity and level.

Salt is conserved: S2 = S1 m1 / m2, with m the mass of seawater. Fresh water brings none and evaporation
takes none.
"""

from __future__ import annotations

# Density of fresh water at 25 degC, and of seawater of practical salinity 35 there (TEOS-10), kg/L.
FRESH_WATER_KG_PER_LITRE = 0.997
SEAWATER_KG_PER_LITRE = 1.02334


def salinity_after(volume_litres: float, salinity: float, fresh_litres: float) -> float:
    """Practical salinity after fresh water was added (above 0) or evaporated (below 0).

    Parameters
    ----------
    volume_litres
        Seawater before, L.
    salinity
        Before.
    fresh_litres
        Fresh water that came; nothing overflows.

    Raises
    ------
    ValueError
        If no more water is left than evaporated.
    """
    mass = volume_litres * SEAWATER_KG_PER_LITRE
    after = mass + fresh_litres * FRESH_WATER_KG_PER_LITRE
    if not after > 0:
        raise ValueError(f"{volume_litres:g} L cannot lose {-fresh_litres:g} L of fresh water")
    return salinity * mass / after


def fresh_litres_added(volume_litres: float, before: float, after: float) -> float:
    """Litres of fresh water that explain a change of salinity in a volume of seawater; below 0: lost.

    Raises
    ------
    ValueError
        If a salinity is not above 0: without salt nothing is diluted.
    """
    if not (before > 0 and after > 0):
        raise ValueError(f"salinities above 0 are needed, got {before:g} and {after:g}")
    mass = volume_litres * SEAWATER_KG_PER_LITRE
    return mass * (before / after - 1.0) / FRESH_WATER_KG_PER_LITRE


def level_change_cm(litres: float, area_m2: float) -> float:
    """Rise in cm of the water level in a vessel of this free area when so many litres come in.

    Raises
    ------
    ValueError
        If the area is not above 0.
    """
    if not area_m2 > 0:
        raise ValueError(f"an area above 0 is needed, got {area_m2:g} m2")
    return litres / area_m2 / 10.0
