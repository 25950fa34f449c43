"""The argument that names the configuration file, the same for every command that needs one."""

from __future__ import annotations

import argparse
from pathlib import Path

DEFAULT = Path("brinebell.toml")


def add_configuration_argument(parser: argparse.ArgumentParser) -> None:
    """Declare `--config`."""
    parser.add_argument(
        "--config",
        type=Path,
        default=DEFAULT,
        metavar="FILE",
        help=f"the configuration; {DEFAULT} in this folder if not given",
    )
