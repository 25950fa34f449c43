"""The water of a simulated tank: evaporation, top-off, leak and salt, by conservation of mass.

Salt stays when water evaporates and comes in with none: S2 = S1 m1 / m2. The tank itself is full to
its overflow, so all that is missing or too much shows in the return section of the sump.
"""

from __future__ import annotations

from rules import physics


class WaterBalance:
    """Mass of water and salt, the level of the return section, and the top-off reservoir.

    Parameters
    ----------
    volume_litres, practical_salinity
        What the tank holds at the start.
    return_section_m2
        Area of the sump's return section: 0.18 m2 give 5.56 mm per litre.
    reservoir_litres
        Fresh water at hand for top-off.
    level_cm
        Height of the water in the return section at the start.
    """

    __slots__ = ("_area_m2", "_level_cm", "_start_kg", "_water_kg", "reservoir_litres", "salt")

    def __init__(
        self,
        volume_litres: float,
        practical_salinity: float,
        return_section_m2: float,
        reservoir_litres: float,
        level_cm: float,
    ) -> None:
        self._water_kg = self._start_kg = volume_litres * physics.SEAWATER_KG_PER_LITRE
        self._area_m2 = return_section_m2
        self._level_cm = level_cm
        self.reservoir_litres = reservoir_litres
        # Salinity times mass: what neither evaporation nor top-off changes.
        self.salt = practical_salinity * self._water_kg

    @property
    def practical_salinity(self) -> float:
        """PSS-78 salinity of the well-mixed tank."""
        return self.salt / self._water_kg

    @property
    def missing_litres(self) -> float:
        """Fresh water that would bring the mass back to that of the start; below 0 there is too much."""
        return (self._start_kg - self._water_kg) / physics.FRESH_WATER_KG_PER_LITRE

    @property
    def level_cm(self) -> float:
        """Height of the water in the return section, cm."""
        return self._level_cm - physics.level_change_cm(self.missing_litres, self._area_m2)

    def evaporate(self, litres: float) -> None:
        """Take fresh water away; the salt stays."""
        self._water_kg -= litres * physics.FRESH_WATER_KG_PER_LITRE

    def top_off(self, litres: float) -> float:
        """Pump fresh water from the reservoir; returns the litres that were there to pump."""
        pumped = min(litres, self.reservoir_litres)
        self.reservoir_litres -= pumped
        self._water_kg += pumped * physics.FRESH_WATER_KG_PER_LITRE
        return pumped

    def leak(self, litres: float) -> None:
        """Take tank water away, and its salt with it."""
        share = litres * physics.SEAWATER_KG_PER_LITRE / self._water_kg
        self._water_kg *= 1.0 - share
        self.salt *= 1.0 - share
