"""The first tables: events with their guards, and those of users, sessions, tokens and answers."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0001"
down_revision = None

_MOMENT = sa.String(40)
_REFUSAL = "events are appended and never changed"

# `insert or replace` fires no trigger of deletions in SQLite, so numbers must rise there.
_SQLITE = (
    f"create trigger events_no_update before update on events begin "
    f"select raise(abort, '{_REFUSAL}'); end",
    f"create trigger events_no_delete before delete on events begin "
    f"select raise(abort, '{_REFUSAL}'); end",
    f"create trigger events_rising before insert on events "
    f"when new.event <= (select coalesce(max(event), 0) from events) begin "
    f"select raise(abort, '{_REFUSAL}'); end",
)
_POSTGRESQL = (
    "create function events_refuse() returns trigger language plpgsql as "
    f"$$ begin raise exception '{_REFUSAL}'; end $$",
    "create trigger events_no_change before update or delete on events "
    "for each row execute function events_refuse()",
    "create trigger events_no_truncate before truncate on events "
    "for each statement execute function events_refuse()",
)


def upgrade() -> None:
    """Makes the tables and the triggers."""
    _events()
    _people()
    for statement in _SQLITE if op.get_bind().dialect.name == "sqlite" else _POSTGRESQL:
        op.execute(statement)


def _events() -> None:
    op.create_table(
        "events",
        sa.Column("event", sa.BigInteger, primary_key=True, autoincrement=False),
        sa.Column("at", _MOMENT, nullable=False),
        sa.Column("as_of", sa.Date, nullable=False),
        sa.Column("actor", sa.Text, nullable=False),
        sa.Column("via", sa.String(16), nullable=False),
        sa.Column("os_user", sa.Text),
        sa.Column("kind", sa.String(16), nullable=False),
        sa.Column("claim", sa.Text),
        sa.Column("subject", sa.Text),
        sa.Column("payload", sa.JSON, nullable=False),
        sa.Column("previous", sa.String(64), nullable=False),
        sa.Column("digest", sa.String(64), nullable=False),
    )
    op.create_index("events_claim", "events", ["claim", "event"])
    op.create_index("events_kind", "events", ["kind", "event"])


def _people() -> None:
    op.create_table(
        "users",
        sa.Column("user", sa.String(64), primary_key=True),
        sa.Column("name", sa.Text, nullable=False),
        sa.Column("role", sa.String(16), nullable=False),
        sa.Column("disabled", sa.Boolean, nullable=False),
        sa.Column("password", sa.Text),
        sa.Column("made_at", _MOMENT, nullable=False),
    )
    op.create_table(
        "sessions",
        sa.Column("session", sa.String(64), primary_key=True),
        sa.Column("user", sa.String(64), nullable=False, index=True),
        sa.Column("csrf_token", sa.Text, nullable=False),
        sa.Column("made_at", _MOMENT, nullable=False),
        sa.Column("ends_at", _MOMENT, nullable=False),
    )
    op.create_table(
        "tokens",
        sa.Column("token", sa.String(64), primary_key=True),
        sa.Column("user", sa.String(64), nullable=False, index=True),
        sa.Column("made_at", _MOMENT, nullable=False),
    )
    op.create_table(
        "attempts",
        sa.Column("attempt", sa.Integer, primary_key=True, autoincrement=True),
        sa.Column("user", sa.Text, nullable=False, index=True),
        sa.Column("address", sa.Text, nullable=False, index=True),
        sa.Column("at", _MOMENT, nullable=False),
    )
    op.create_table(
        "answers",
        sa.Column("user", sa.String(64), primary_key=True),
        sa.Column("path", sa.Text, primary_key=True),
        sa.Column("key", sa.Text, primary_key=True),
        sa.Column("body", sa.String(64), nullable=False),
        sa.Column("at", _MOMENT, nullable=False),
        sa.Column("event", sa.BigInteger),
        sa.Column("answer", sa.JSON),
    )
    op.create_table(
        "secrets",
        sa.Column("name", sa.String(64), primary_key=True),
        sa.Column("value", sa.Text, nullable=False),
    )
