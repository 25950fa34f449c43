"""Recorded readings in files: what a replay reads."""

from collector.recordings.csv_file import read_csv
from collector.recordings.derived import with_derived
from collector.recordings.recording import Recording, Skipped, join

__all__ = ["Recording", "Skipped", "join", "read_csv", "with_derived"]
