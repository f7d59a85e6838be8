"""How the catalog came to be what it is, step by step (Alembic); the store runs them when it opens."""

from pathlib import Path

from alembic import command
from alembic.config import Config
from sqlalchemy import Connection


def upgrade(connection: Connection) -> None:
    """Bring the catalog behind ``connection`` to the newest form; raises alembic.util.CommandError."""
    config = Config()
    # the configuration's parser takes a lone % for the start of a reference
    config.set_main_option("script_location", str(Path(__file__).parent).replace("%", "%%"))
    config.attributes["connection"] = connection
    command.upgrade(config, "head")
