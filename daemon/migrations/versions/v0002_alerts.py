"""Alerts, each change in their lives, and the ids that have been given out."""

import sqlalchemy as sa
from alembic import op

revision = "0002"
down_revision = "0001"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Make the three tables."""
    op.create_table(
        "alert",
        sa.Column("id", sa.BigInteger, primary_key=True, autoincrement=False),
        sa.Column("bay", sa.Text, nullable=False),
        sa.Column("rule", sa.Text, nullable=False),
        sa.Column("subject", sa.Text, nullable=False),
        sa.Column("priority", sa.Text, nullable=False),
        sa.Column("state", sa.Text, nullable=False),
        sa.Column("beneath", sa.Text, nullable=False),
        sa.Column("job", sa.Integer),
        sa.Column("cause", sa.BigInteger),
        sa.Column("raised_ns", sa.BigInteger, nullable=False),
        sa.Column("returned_ns", sa.BigInteger),
        sa.Column("shelved_until_ns", sa.BigInteger),
        sa.Column("text", sa.Text, nullable=False),
        sa.Column("value", sa.Double),
        sa.Column("limit_value", sa.Double),
        sa.Column("unit", sa.Text, nullable=False),
    )
    op.create_index("ix_alert_state", "alert", ["state"])
    op.create_table(
        "alert_change",
        sa.Column("id", sa.BigInteger, primary_key=True, autoincrement=False),
        sa.Column("alert", sa.BigInteger, sa.ForeignKey("alert.id", name="fk_alert_change"), nullable=False),
        sa.Column("time_ns", sa.BigInteger, nullable=False),
        sa.Column("change", sa.Text, nullable=False),
        sa.Column("state", sa.Text, nullable=False),
        sa.Column("priority", sa.Text, nullable=False),
        sa.Column("told", sa.Boolean, nullable=False),
        sa.Column("person", sa.Text, nullable=False),
        sa.Column("note", sa.Text, nullable=False),
        sa.Column("text", sa.Text, nullable=False),
    )
    op.create_index("ix_alert_change_alert", "alert_change", ["alert"])
    op.create_index("ix_alert_change_time_ns", "alert_change", ["time_ns"])
    op.create_table("alert_ids", sa.Column("last", sa.BigInteger, primary_key=True, autoincrement=False))


def downgrade() -> None:
    """Take them away again."""
    op.drop_table("alert_ids")
    op.drop_table("alert_change")
    op.drop_table("alert")
