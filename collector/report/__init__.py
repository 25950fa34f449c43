"""A replay as one HTML file that opens anywhere, offline, to look at or to show."""

from collector.report.replay import report_html

__all__ = ["report_html"]
