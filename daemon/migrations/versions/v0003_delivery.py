"""Who is to be told of which change, what became of it, and up to which change that was worked out."""

import sqlalchemy as sa
from alembic import op

revision = "0003"
down_revision = "0002"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Make both tables; what happened before is told to nobody."""
    op.create_table(
        "delivery",
        sa.Column("id", sa.Integer, primary_key=True),
        sa.Column("target", sa.Text, nullable=False),
        sa.Column("change", sa.BigInteger, sa.ForeignKey("alert_change.id", name="fk_delivery_change"), nullable=False),
        sa.Column("escalation", sa.Boolean, nullable=False),
        sa.Column("state", sa.Text, nullable=False),
        sa.Column("tries", sa.Integer, nullable=False),
        sa.Column("next_try_ns", sa.BigInteger, nullable=False),
        sa.Column("ended_ns", sa.BigInteger),
        sa.Column("last_error", sa.Text, nullable=False),
        sa.UniqueConstraint("target", "change", name="uq_delivery"),
    )
    op.create_index("ix_delivery_state", "delivery", ["state"])
    booked = op.create_table(
        "delivery_booked", sa.Column("change", sa.BigInteger, primary_key=True, autoincrement=False)
    )
    last = op.get_bind().execute(sa.text("SELECT max(id) FROM alert_change")).scalar()
    op.bulk_insert(booked, [{"change": last or 0}])


def downgrade() -> None:
    """Take them away again."""
    op.drop_table("delivery_booked")
    op.drop_table("delivery")
