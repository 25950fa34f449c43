"""A replay, or a search for better settings, as one HTML file that opens anywhere, offline."""

from collector.report.replay import report_html
from collector.report.tuning import tune_html

__all__ = ["report_html", "tune_html"]
