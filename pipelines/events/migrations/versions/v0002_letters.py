"""The register of letters as a table of its own, made from the events by `letter_table.refold`."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0002"
down_revision = "0001"


def upgrade() -> None:
    """Makes the table; whoever migrates fills it."""
    op.create_table(
        "letters",
        sa.Column("entry", sa.BigInteger, primary_key=True, autoincrement=False),
        sa.Column("claim", sa.Text, index=True),
        sa.Column("serial", sa.Text),
        sa.Column("report", sa.Text),
        sa.Column("sample", sa.Text),
        sa.Column("kind", sa.String(16), nullable=False),
        sa.Column("basis", sa.String(64), nullable=False),
        sa.Column("as_of", sa.Date, nullable=False, index=True),
        sa.Column("made_at", sa.DateTime, nullable=False),
        sa.Column("agency", sa.Text, index=True),
        sa.Column("email", sa.Text),
        sa.Column("state", sa.String(16), nullable=False, index=True),
        sa.Column("sent_on", sa.Date),
        sa.Column("sent_by", sa.Text),
        sa.Column("sent_how", sa.String(16)),
        sa.Column("answered_on", sa.Date),
        sa.Column("due_on", sa.Date),
        sa.Column("replaces", sa.BigInteger),
        sa.Column("reminds", sa.BigInteger),
        sa.Column("missing", sa.Text),
        sa.Column("subject", sa.Text),
        sa.Column("sending_at", sa.DateTime),
        sa.Column("message_id", sa.Text),
        sa.Column("note", sa.Text),
        sa.Column("text_event", sa.BigInteger),
        sa.Column("moved", sa.BigInteger),
    )
