"""Sealed files: what each digest is of."""

import sqlalchemy as sa
from alembic import op

revision = "0004"
down_revision = "0003"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Make the table; the jobs that are there are sealed by and by."""
    op.create_table(
        "seals",
        sa.Column("seal", sa.Integer, primary_key=True),
        sa.Column("job", sa.Integer, sa.ForeignKey("jobs.job", name="fk_seals_job"), nullable=False),
        sa.Column("sha256", sa.Text, nullable=False),
        sa.Column("bytes", sa.BigInteger, nullable=False),
        sa.Column("frames", sa.BigInteger, nullable=False),
        sa.Column("sealed_ns", sa.BigInteger, nullable=False),
        sa.UniqueConstraint("job", "sha256", name="uq_seals"),
    )
    op.create_index("ix_seals_sha256", "seals", ["sha256"])


def downgrade() -> None:
    """Take it away again; the files stay."""
    op.drop_table("seals")
