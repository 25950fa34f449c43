"""Recorded readings in files: what a replay reads."""

from collector.recordings.csv_file import read_csv
from collector.recordings.derived import with_derived
from collector.recordings.files import ENDINGS, files_of, read_file, read_files
from collector.recordings.form import Form
from collector.recordings.recording import Recording, Skipped, join
from collector.recordings.writing import Named, Pieces, csv_text, pieces_of, spelled_unit

__all__ = [
    "ENDINGS",
    "Form",
    "Named",
    "Pieces",
    "Recording",
    "Skipped",
    "csv_text",
    "files_of",
    "join",
    "pieces_of",
    "read_csv",
    "read_file",
    "read_files",
    "spelled_unit",
    "with_derived",
]
