"""How the catalog came to be what it is, step by step (Alembic); the store runs them when it opens."""

from pathlib import Path

import sqlalchemy as sa

from daemon.errors import StoreUnfit

_HERE = Path(__file__).parent
#: each step is a file, called by its revision
NEWEST = max(path.name[1:5] for path in (_HERE / "versions").glob("v*.py"))


def upgrade(connection: sa.Connection, path: Path) -> None:
    """Bring the catalog at ``path``, behind ``connection``, to the newest form; raises StoreUnfit where it is newer."""
    if _revision(connection) == NEWEST:
        return
    # a fifth of what a start has to load, for what is done once in a catalog's life
    from alembic import command  # noqa: PLC0415
    from alembic.config import Config  # noqa: PLC0415
    from alembic.util import CommandError  # noqa: PLC0415

    config = Config()
    # the configuration's parser takes a lone % for the start of a reference
    config.set_main_option("script_location", str(_HERE).replace("%", "%%"))
    config.attributes["connection"] = connection
    try:
        command.upgrade(config, "head")
    except CommandError as err:
        raise StoreUnfit(path, f"was made by a newer keysoak ({err})") from err


def _revision(connection: sa.Connection) -> str | None:
    found = None
    if sa.inspect(connection).has_table("alembic_version"):
        found = connection.execute(sa.text("SELECT version_num FROM alembic_version")).scalar()
    connection.rollback()  # a step begins its own transaction
    return found
