"""The log: one row an entry, that can be added to and never changed or taken away."""

import sqlalchemy as sa
from alembic import op

revision = "0001"
down_revision = None
branch_labels = None
depends_on = None

SAYS = "the log is append-only"
SQLITE = tuple(
    f"CREATE TRIGGER log_no_{act.lower()} BEFORE {act} ON log BEGIN SELECT RAISE(ABORT, '{SAYS}'); END"
    for act in ("UPDATE", "DELETE")
)
POSTGRESQL = (
    f"CREATE FUNCTION log_refuses() RETURNS trigger LANGUAGE plpgsql AS "
    f"$$ BEGIN RAISE EXCEPTION '{SAYS}' USING ERRCODE = 'restrict_violation'; END $$",
    "CREATE TRIGGER log_no_change BEFORE UPDATE OR DELETE ON log FOR EACH ROW EXECUTE FUNCTION log_refuses()",
    "CREATE TRIGGER log_no_truncate BEFORE TRUNCATE ON log FOR EACH STATEMENT EXECUTE FUNCTION log_refuses()",
)


def upgrade() -> None:
    """Make the table and the triggers that guard it."""
    op.create_table(
        "log",
        sa.Column("place", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), primary_key=True, autoincrement=True),
        sa.Column("case_id", sa.Text, nullable=False),
        sa.Column("seq", sa.Integer, nullable=False),
        sa.Column("id", sa.Text, nullable=False),
        sa.Column("kind", sa.Text, nullable=False),
        sa.Column("arrived_at", sa.Text, nullable=False),
        sa.Column("body", sa.Text, nullable=False),
        sa.Column("seal", sa.Text, nullable=False),
        sa.UniqueConstraint("case_id", "seq", name="log_case_seq"),
        sa.UniqueConstraint("id", name="log_id"),
    )
    op.create_index("log_kind", "log", ["kind", "case_id"])
    for line in SQLITE if op.get_bind().dialect.name == "sqlite" else POSTGRESQL:
        op.execute(line)
