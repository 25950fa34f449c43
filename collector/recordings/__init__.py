"""Recorded readings in files: what a replay reads."""

from collector.recordings.csv_file import read_csv
from collector.recordings.derived import with_derived
from collector.recordings.files import ENDINGS, files_of, read_file, read_files
from collector.recordings.form import Form
from collector.recordings.recording import Recording, Skipped, join
from collector.recordings.writing import Named, Writer, csv_text, spelled_unit, writer

__all__ = [
    "ENDINGS",
    "Form",
    "Named",
    "Recording",
    "Skipped",
    "Writer",
    "csv_text",
    "files_of",
    "join",
    "read_csv",
    "read_file",
    "read_files",
    "spelled_unit",
    "with_derived",
    "writer",
]
