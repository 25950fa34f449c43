"""The templates of everything that is written as HTML: pages that are served, and reports in a file."""

from __future__ import annotations

from functools import cache
from pathlib import Path

from jinja2 import Environment, FileSystemLoader, StrictUndefined

from collector.pages.labels import together

HERE = Path(__file__).parent


@cache
def templates() -> Environment:
    """All templates; what they are given is escaped, and a name that is not given is an error.

    A process compiles each once, however often the pages are served anew: that takes a third of a second.
    """
    found = Environment(
        loader=FileSystemLoader(HERE / "templates"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        auto_reload=False,
    )
    found.filters["together"] = together
    return found


def style() -> str:
    """The style sheets, for what cannot ask for them."""
    names = ("brinebell.css", "charts.css")
    return "\n".join((HERE / "static" / name).read_text(encoding="utf-8") for name in names)
