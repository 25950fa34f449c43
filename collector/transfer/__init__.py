"""History out of the store into files, and out of files into the store."""

from collector.transfer.exporting import Asked, export
from collector.transfer.importing import Account, import_file

__all__ = ["Account", "Asked", "export", "import_file"]
