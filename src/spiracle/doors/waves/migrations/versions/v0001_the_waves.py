"""Small rows, packed minutes that can be added to and never changed or taken away, and the ids of messages."""

import sqlalchemy as sa
from alembic import op

revision = "0001"
down_revision = None
branch_labels = None
depends_on = None

SAYS = "the archive of waves is append-only"
SQLITE = tuple(
    f"CREATE TRIGGER wave_minute_no_{act.lower()} BEFORE {act} ON wave_minute BEGIN SELECT RAISE(ABORT, '{SAYS}'); END"
    for act in ("UPDATE", "DELETE")
)
POSTGRESQL = (
    f"CREATE FUNCTION wave_minute_refuses() RETURNS trigger LANGUAGE plpgsql AS "
    f"$$ BEGIN RAISE EXCEPTION '{SAYS}' USING ERRCODE = 'restrict_violation'; END $$",
    "CREATE TRIGGER wave_minute_no_change BEFORE UPDATE OR DELETE ON wave_minute "
    "FOR EACH ROW EXECUTE FUNCTION wave_minute_refuses()",
    "CREATE TRIGGER wave_minute_no_truncate BEFORE TRUNCATE ON wave_minute "
    "FOR EACH STATEMENT EXECUTE FUNCTION wave_minute_refuses()",
    "ALTER TABLE wave_minute ALTER COLUMN body SET STORAGE EXTERNAL",  # deflated already: no second try
)
BIG = sa.BigInteger().with_variant(sa.Integer(), "sqlite")


def upgrade() -> None:
    """Make the tables and the triggers that guard the packed minutes."""
    shared = (("minute", BIG), ("first_us", BIG), ("until_us", BIG), ("samples", sa.Integer), ("body", sa.LargeBinary))
    op.create_table(
        "wave_packet",
        sa.Column("id", BIG, primary_key=True, autoincrement=True),
        *(sa.Column(name, sa.Text, nullable=False) for name in ("case_id", "wave", "monitor")),
        *(sa.Column(name, kind, nullable=False) for name, kind in shared),
        sqlite_autoincrement=True,
    )
    op.create_index("wave_packet_minute", "wave_packet", ["case_id", "wave", "minute"])
    op.create_table(
        "wave_minute",
        sa.Column("case_id", sa.Text, primary_key=True),
        sa.Column("wave", sa.Text, primary_key=True),
        sa.Column("place", sa.Integer, primary_key=True),
        sa.Column("monitor", sa.Text, nullable=False),
        *(sa.Column(name, kind, nullable=False) for name, kind in shared),
        sa.Column("seal", sa.Text, nullable=False),
    )
    op.create_index("wave_minute_minute", "wave_minute", ["case_id", "wave", "minute"])
    op.create_table(
        "wave_message",
        sa.Column("id", BIG, primary_key=True, autoincrement=True),
        sa.Column("monitor", sa.Text, nullable=False),
        sa.Column("message_id", sa.Text, nullable=False),
        sa.Column("at_us", BIG, nullable=False),
        sa.UniqueConstraint("monitor", "message_id", name="wave_message_once"),
        sqlite_autoincrement=True,
    )
    for line in SQLITE if op.get_bind().dialect.name == "sqlite" else POSTGRESQL:
        op.execute(line)
