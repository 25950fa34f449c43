"""Limewater: what does it do to alkalinity and pH, on top of what evaporates or in its place?

Saturated limewater holds 20.3 mmol/L of calcium hydroxide at 25 degC (Bates, Bower and Smith 1956, J. Res.
NBS 56:305), so a litre brings 40.6 meq. It takes up no carbon in the bottle and none is lost in the tank:
what is computed is the closed system, which a tank is for some hours. Beyond a pH (NBS) of about 8.9
carbonate falls out by itself, and both stay below what is computed here.
"""

from __future__ import annotations

from rules.physics.carbonate import carbon_of, ph_of
from rules.physics.water import FRESH_WATER_KG_PER_LITRE, SEAWATER_KG_PER_LITRE

MEQ_PER_LITRE = 40.6
# Alkalinity of a reef tank where none is measured, umol/kg: 7 dKH (common practice, no source).
USUAL_ALKALINITY = 2500.0
# A probe calibrated in NBS-type buffers reads higher than the total scale: 0.137 at S 35 and 25 degC
# (computed by PyCO2SYS 1.8.3.4).
NBS_ABOVE_TOTAL = 0.137


def alkalinity_after(
    volume_litres: float, litres: float, alkalinity: float = USUAL_ALKALINITY, *, replaces: bool = False
) -> float:
    """Alkalinity after limewater came into a tank.

    Parameters
    ----------
    volume_litres
        Seawater before, L, > 0.
    litres
        Saturated limewater, L.
    alkalinity
        Before, umol/kg.
    replaces
        Whether as much water had evaporated; otherwise it comes on top and dilutes.

    Returns
    -------
    float
        umol/kg.

    Raises
    ------
    ValueError
        If the volume is not above 0.
    """
    if not volume_litres > 0:
        raise ValueError(f"a volume above 0 is needed, got {volume_litres:g} L")
    mass = volume_litres * SEAWATER_KG_PER_LITRE
    after = mass if replaces else mass + litres * FRESH_WATER_KG_PER_LITRE
    return (alkalinity * mass + litres * MEQ_PER_LITRE * 1000.0) / after


def alkalinity_rise(volume_litres: float, litres: float, *, replaces: bool = False) -> float:
    """Rise of alkalinity in meq/L of a tank at the usual alkalinity; arguments as in `alkalinity_after`."""
    rise = alkalinity_after(volume_litres, litres, replaces=replaces) - USUAL_ALKALINITY
    return rise * SEAWATER_KG_PER_LITRE / 1000.0


def ph_after(
    volume_litres: float,
    litres: float,
    ph: float,
    *,
    replaces: bool = False,
    alkalinity: float = USUAL_ALKALINITY,
    temperature: float = 25.0,
) -> float:
    """Return the pH (NBS) after limewater came into a closed tank of salinity 35 at a pH (NBS).

    Parameters as in `alkalinity_after`; `temperature` in degC. Within 0.01 of `PyCO2SYS` up to pH 9.3.
    """
    mass = volume_litres * SEAWATER_KG_PER_LITRE
    share = 1.0 if replaces else mass / (mass + litres * FRESH_WATER_KG_PER_LITRE)
    after = alkalinity_after(volume_litres, litres, alkalinity, replaces=replaces)
    carbon = carbon_of(alkalinity, ph - NBS_ABOVE_TOTAL, 35.0, temperature) * share
    return ph_of(after, carbon, 35.0 * share, temperature) + NBS_ABOVE_TOTAL
