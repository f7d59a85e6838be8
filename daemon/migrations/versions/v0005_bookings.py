"""Units that are booked in, their customers, and the library of device types; a job may name its booking."""

import sqlalchemy as sa
from alembic import op

revision = "0005"
down_revision = "0004"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Make the three tables and the column."""
    op.create_table(
        "booking",
        sa.Column("booking", sa.Integer, primary_key=True),
        sa.Column("number", sa.Text, nullable=False),
        sa.Column("unit", sa.Text, nullable=False),
        sa.Column("kind", sa.Text, nullable=False),
        sa.Column("serial", sa.Text, nullable=False),
        sa.Column("device_type", sa.Text, nullable=False),
        sa.Column("lot", sa.Text, nullable=False),
        sa.Column("bias_method", sa.Text, nullable=False),
        sa.Column("rth_jc_k_w", sa.Double),
        sa.Column("rth_cs_k_w", sa.Double),
        sa.Column("tj_max_c", sa.Double),
        sa.Column("set_up", sa.JSON, nullable=False),
        sa.Column("booked_ns", sa.BigInteger, nullable=False),
        sa.Column("changed_ns", sa.BigInteger, nullable=False),
        sa.UniqueConstraint("number", "unit", name="uq_booking"),
    )
    op.create_table(
        "customer",
        sa.Column(
            "booking", sa.Integer, sa.ForeignKey("booking.booking", name="fk_customer_booking"), primary_key=True
        ),
        sa.Column("name", sa.Text, nullable=False),
    )
    op.create_table(
        "device_type",
        sa.Column("name", sa.Text, primary_key=True),
        sa.Column("rth_jc_k_w", sa.Double),
        sa.Column("rth_cs_k_w", sa.Double),
        sa.Column("tj_max_c", sa.Double),
        sa.Column("note", sa.Text, nullable=False),
    )
    # no foreign key: a job is kept by the safety loop's queue, which nothing may refuse
    op.add_column("jobs", sa.Column("booking", sa.Integer))
    op.create_index("ix_jobs_booking", "jobs", ["booking"])


def downgrade() -> None:
    """Take them away again."""
    op.drop_index("ix_jobs_booking", "jobs")
    op.drop_column("jobs", "booking")
    op.drop_table("device_type")
    op.drop_table("customer")
    op.drop_table("booking")
