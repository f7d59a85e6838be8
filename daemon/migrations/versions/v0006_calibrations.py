"""Calibrations of channels, each with its points and its line; a job names those that were in force at its start."""

import sqlalchemy as sa
from alembic import op

revision = "0006"
down_revision = "0005"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Make the table and the column."""
    op.create_table(
        "calibration",
        sa.Column("id", sa.Integer, primary_key=True),
        sa.Column("bay", sa.Text, nullable=False),
        sa.Column("channel", sa.Text, nullable=False),
        sa.Column("kind", sa.Text, nullable=False),
        sa.Column("points", sa.JSON, nullable=False),
        sa.Column("reference", sa.Text, nullable=False),
        sa.Column("u_reference", sa.Double, nullable=False),
        sa.Column("intercept", sa.Double, nullable=False),
        sa.Column("slope", sa.Double, nullable=False),
        sa.Column("pivot", sa.Double, nullable=False),
        sa.Column("u_intercept", sa.Double),
        sa.Column("u_slope", sa.Double),
        sa.Column("correlation", sa.Double, nullable=False),
        sa.Column("residual", sa.Double),
        sa.Column("freedom", sa.Integer, nullable=False),
        sa.Column("made_ns", sa.BigInteger, nullable=False),
        sa.Column("due", sa.Date),
        sa.Column("who", sa.Text, nullable=False),
        sa.Column("note", sa.Text, nullable=False),
    )
    op.create_index("ix_calibration_channel", "calibration", ["bay", "channel"])
    op.add_column("jobs", sa.Column("calibrations", sa.JSON))


def downgrade() -> None:
    """Take them away again."""
    op.drop_column("jobs", "calibrations")
    op.drop_index("ix_calibration_channel", "calibration")
    op.drop_table("calibration")
