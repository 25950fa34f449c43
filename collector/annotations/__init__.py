"""Annotation files: what truly happened in a recording, as TOML that a person can write and read."""

from collector.annotations.reading import read_annotations
from collector.annotations.writing import annotations_text

__all__ = ["annotations_text", "read_annotations"]
