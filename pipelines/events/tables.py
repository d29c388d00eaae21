"""The tables of the desk's database.

Belongs here: their columns. Does not belong here: how a database gets them (`migrations`).
`events` is what people did; it is never changed, which triggers see to. `users`, `sessions`,
`tokens`, `attempts` and `answers` are ordinary tables; everything else is folded from events, and
`letters` holds what was folded.
Moments are texts in UTC (ISO 8601 with microseconds), so that they sort and digest alike in
every database.
"""

from __future__ import annotations

import sqlalchemy as sa

METADATA = sa.MetaData()
_MOMENT = sa.String(40)

EVENTS = sa.Table(
    "events",
    METADATA,
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
    sa.Index("events_claim", "claim", "event"),
    sa.Index("events_kind", "kind", "event"),
)
# The register of letters as its events add up, in the columns of `schemas.register.Letters`; beside
# them the event that holds the letter's text, and the last one by which a person changed the entry.
LETTERS = sa.Table(
    "letters",
    METADATA,
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
# Those who may sign in. `user` is the sign-in name, `name` the one that rulings carry.
USERS = sa.Table(
    "users",
    METADATA,
    sa.Column("user", sa.String(64), primary_key=True),
    sa.Column("name", sa.Text, nullable=False),
    sa.Column("role", sa.String(16), nullable=False),
    sa.Column("disabled", sa.Boolean, nullable=False),
    sa.Column("password", sa.Text),  # argon2id, with its parameters and salt
    sa.Column("made_at", _MOMENT, nullable=False),
)
SESSIONS = sa.Table(
    "sessions",
    METADATA,
    sa.Column("session", sa.String(64), primary_key=True),  # SHA-256 of what the cookie holds
    sa.Column("user", sa.String(64), nullable=False, index=True),
    sa.Column("csrf_token", sa.Text, nullable=False),
    sa.Column("made_at", _MOMENT, nullable=False),
    sa.Column("ends_at", _MOMENT, nullable=False),
)
TOKENS = sa.Table(
    "tokens",
    METADATA,
    sa.Column("token", sa.String(64), primary_key=True),  # SHA-256 of the token
    sa.Column("user", sa.String(64), nullable=False, index=True),
    sa.Column("made_at", _MOMENT, nullable=False),
)
# Sign-ins that failed.
ATTEMPTS = sa.Table(
    "attempts",
    METADATA,
    sa.Column("attempt", sa.Integer, primary_key=True, autoincrement=True),
    sa.Column("user", sa.Text, nullable=False, index=True),
    sa.Column("address", sa.Text, nullable=False, index=True),
    sa.Column("at", _MOMENT, nullable=False),
)
# What a request with an Idempotency-Key got, for the same request sent again within a day.
ANSWERS = sa.Table(
    "answers",
    METADATA,
    sa.Column("user", sa.String(64), primary_key=True),
    sa.Column("path", sa.Text, primary_key=True),
    sa.Column("key", sa.Text, primary_key=True),
    sa.Column("body", sa.String(64), nullable=False),  # SHA-256 of the first body
    sa.Column("at", _MOMENT, nullable=False),
    sa.Column("event", sa.BigInteger),  # the last event of the action, told with its commit
    sa.Column("answer", sa.JSON),  # null until it could be told
)
# Secrets of this desk, such as the key that signs cookies.
SECRETS = sa.Table(
    "secrets",
    METADATA,
    sa.Column("name", sa.String(64), primary_key=True),
    sa.Column("value", sa.Text, nullable=False),
)
