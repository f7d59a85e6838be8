"""Jobs and their findings."""

import sqlalchemy as sa
from alembic import op

revision = "0001"
down_revision = None
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Make both tables."""
    op.create_table(
        "jobs",
        sa.Column("job", sa.Integer, primary_key=True, autoincrement=False),
        sa.Column("number", sa.Text, nullable=False),
        sa.Column("unit", sa.Text, nullable=False),
        sa.Column("bay", sa.Text, nullable=False),
        sa.Column("plan_name", sa.Text, nullable=False),
        sa.Column("plan_text", sa.Text, nullable=False),
        sa.Column("limits", sa.JSON, nullable=False),
        sa.Column("started_ns", sa.BigInteger, nullable=False),
        sa.Column("ended_ns", sa.BigInteger),
        sa.Column("verdict", sa.Text),
        sa.Column("reasons", sa.JSON, nullable=False),
        sa.Column("figures", sa.JSON, nullable=False),
    )
    op.create_table(
        "findings",
        sa.Column("finding", sa.Integer, primary_key=True),
        sa.Column("job", sa.Integer, sa.ForeignKey("jobs.job", name="fk_findings_job"), nullable=False),
        sa.Column("at_s", sa.Double, nullable=False),
        sa.Column("time_ns", sa.BigInteger, nullable=False),
        sa.Column("bay", sa.Text, nullable=False),
        sa.Column("rule", sa.Text, nullable=False),
        sa.Column("event", sa.Text, nullable=False),
        sa.Column("priority", sa.Text, nullable=False),
        sa.Column("value", sa.Double),
        sa.Column("limit", sa.Double),
        sa.Column("unit", sa.Text, nullable=False),
        sa.Column("text", sa.Text, nullable=False),
    )
    op.create_index("ix_findings_job", "findings", ["job"])


def downgrade() -> None:
    """Take both away again."""
    op.drop_table("findings")
    op.drop_table("jobs")
