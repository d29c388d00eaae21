"""Passwords: what one must be, and argon2id over it.

Belongs here: hashing and checking. Does not belong here: who may try how often (`pipelines.desk`).
A try costs about a third of a CPU second and 64 MiB: do it off the event loop.
"""

from __future__ import annotations

from functools import cache

from argon2 import PasswordHasher
from argon2.exceptions import InvalidHashError, VerificationError

from pipelines.actions.values import refuse

FEWEST_CHARACTERS, MOST_BYTES = 12, 1_024
_HASHER = PasswordHasher()  # argon2id with RFC 9106's second recommendation


def hashed(password: str) -> str:
    """The password as it is kept.

    Raises:
        Refused: 422 for one that is too short or too long.
    """
    if len(password) < FEWEST_CHARACTERS:
        raise refuse("password", f"is too short; use {FEWEST_CHARACTERS} characters or more.")
    try:
        size = len(password.encode("utf-8"))
    except UnicodeEncodeError:
        raise refuse("password", "holds a character that cannot be typed again.") from None
    if size > MOST_BYTES:
        raise refuse("password", f"is longer than {MOST_BYTES:,} bytes; use a shorter one.")
    return _HASHER.hash(password)


def fits(password: str, kept: str | None) -> bool:
    """Whether a password is the one kept; a user without one takes as long to refuse."""
    try:
        tried = password.encode("utf-8")[: MOST_BYTES + 1]
    except UnicodeEncodeError:
        tried = b""
    try:
        return _HASHER.verify(kept or _nobody(), tried) and kept is not None
    except (VerificationError, InvalidHashError):
        return False


@cache
def _nobody() -> str:
    """What is checked for names that nobody has, so that they take the same time."""
    return _HASHER.hash("a password that nobody has set")
