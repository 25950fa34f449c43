"""One thing that a check found."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum


class Verdict(StrEnum):
    """Whether it is as it should be: `note` is worth knowing, `wrong` keeps Brinebell from its job."""

    WELL = "well"
    NOTE = "note"
    WRONG = "wrong"


@dataclass(frozen=True, slots=True)
class Finding:
    """What was looked at, what was found, and how to mend it; nothing to mend where all is well."""

    part: str
    verdict: Verdict
    text: str
    mend: str = ""

    def lines(self) -> list[str]:
        """Write it as one or two lines."""
        return [f"{self.part}: {self.verdict}: {self.text}", *([f"    {self.mend}"] if self.mend else [])]
