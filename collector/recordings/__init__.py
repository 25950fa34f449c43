"""Recorded readings in files: what a replay reads."""

from collector.recordings.csv_file import read_csv
from collector.recordings.derived import with_derived
from collector.recordings.files import ENDINGS, read_files
from collector.recordings.form import Form
from collector.recordings.recording import Recording, Skipped, join
from collector.recordings.writing import csv_text

__all__ = [
    "ENDINGS",
    "Form",
    "Recording",
    "Skipped",
    "csv_text",
    "join",
    "read_csv",
    "read_files",
    "with_derived",
]
