"""Planned works as iCalendar files (RFC 5545), so that any calendar can hold them; for the command alone."""

from collector.calendars.files import read_file, write_file
from collector.calendars.reading import Read, read_works
from collector.calendars.writing import write_works

__all__ = ["Read", "read_file", "read_works", "write_file", "write_works"]
