"""The argument that names the configuration file, the same for every command that needs one."""

from __future__ import annotations

import argparse
import os
from pathlib import Path

DEFAULT = Path("brinebell.toml")
# Where deploy/install puts it.
INSTALLED = Path("/etc/brinebell/brinebell.toml")


def add_configuration_argument(parser: argparse.ArgumentParser) -> None:
    """Declare `--config`."""
    # os.path: a folder that this user may not look into is as good as none.
    is_installed = not os.path.exists(DEFAULT) and os.path.exists(INSTALLED)  # noqa: PTH110
    parser.add_argument(
        "--config",
        type=Path,
        default=INSTALLED if is_installed else DEFAULT,
        metavar="FILE",
        help=f"the configuration; {DEFAULT} in this folder if not given, or else {INSTALLED}",
    )
