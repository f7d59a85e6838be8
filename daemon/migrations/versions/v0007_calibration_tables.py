"""Calibrations that are tables of a detector, and so have no line."""

from typing import Any

import sqlalchemy as sa
from alembic import op

revision = "0007"
down_revision = "0006"
branch_labels = None
depends_on = None

_OF_A_LINE: dict[str, sa.types.TypeEngine[Any]] = {
    "intercept": sa.Double(),
    "slope": sa.Double(),
    "pivot": sa.Double(),
    "correlation": sa.Double(),
    "freedom": sa.Integer(),
}


def upgrade() -> None:
    """Let the columns of a line be empty."""
    with op.batch_alter_table("calibration") as table:
        for name, kind in _OF_A_LINE.items():
            table.alter_column(name, existing_type=kind, nullable=True)


def downgrade() -> None:
    """Tables have no place in the older form: they are let go."""
    op.execute(sa.text("DELETE FROM calibration WHERE kind <> 'line'"))
    with op.batch_alter_table("calibration") as table:
        for name, kind in _OF_A_LINE.items():
            table.alter_column(name, existing_type=kind, nullable=False)
