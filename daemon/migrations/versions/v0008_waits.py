"""When the plan of a job stood still for a person: its time and the plan's part by that."""

import sqlalchemy as sa
from alembic import op

revision = "0008"
down_revision = "0007"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Make the table; of older jobs it is not known."""
    op.create_table(
        "waits",
        sa.Column("wait", sa.Integer, primary_key=True),
        sa.Column("job", sa.Integer, sa.ForeignKey("jobs.job", name="fk_waits_job"), nullable=False),
        sa.Column("phase", sa.Integer, nullable=False),
        sa.Column("at_s", sa.Double, nullable=False),
        sa.Column("until_s", sa.Double),
        sa.UniqueConstraint("job", "phase", name="uq_waits"),
    )
