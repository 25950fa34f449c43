"""History out of the store into files, and out of files or the time-series database into the store."""

from collector.transfer.exporting import Asked, Exported, export
from collector.transfer.from_database import Refilled, import_database
from collector.transfer.importing import import_file
from collector.transfer.taking import Account

__all__ = ["Account", "Asked", "Exported", "Refilled", "export", "import_database", "import_file"]
