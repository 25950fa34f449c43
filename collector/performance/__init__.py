"""How well the alarms serve: the performance figures of EEMUA 191 and ISA-18.2, from what was recorded."""

from collector.performance.figures import Figures, Ring, figures_of
from collector.performance.report import as_object, as_text

__all__ = ["Figures", "Ring", "as_object", "as_text", "figures_of"]
