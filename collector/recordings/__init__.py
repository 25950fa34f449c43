"""Recorded readings in files: what a replay reads."""

from collector.recordings.csv_file import read_csv
from collector.recordings.recording import Recording, Skipped

__all__ = ["Recording", "Skipped", "read_csv"]
