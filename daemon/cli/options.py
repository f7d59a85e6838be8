"""Options that several parts of the command share."""

from pathlib import Path
from typing import Annotated

import typer

RackOption = Annotated[
    Path, typer.Option("--rack", help="The rack's description.", envvar="KEYSOAK_RACK", show_default=True)
]
ApiOption = Annotated[
    str, typer.Option("--api", help="Where the daemon answers.", envvar="KEYSOAK_API", show_default=True)
]
RACK = Path("rack.toml")
API = "http://127.0.0.1:8051"
