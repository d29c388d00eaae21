"""The `[nightly]` part of the settings: when a night runs, and who is told when it fails.

Belongs here: its values and what is wrong with them. Does not belong here: telling anybody
(`pipelines.nightly.notifications`) or the schedule itself (`pipelines.orchestration.jobs`).
"""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any, Literal

from pipelines.workspace.toml_file import is_whole, show

SUBMISSION_PORT = 587  # RFC 6409: message submission, where STARTTLS is spoken
RELAY_PORT = 25  # RFC 5321
Switch = Literal["on", "off"]
_ADDRESS = re.compile(r"[^@\s<>,;\"]+@[^@\s<>,;\"]+")
_VARIABLE = re.compile(r"[A-Za-z_][A-Za-z0-9_]*")


@dataclass(frozen=True)
class Mail:
    """A server that takes mail: that of failed nights, or of letters, whose addresses are others.

    User and password never stand in the settings: `user_env` and `password_env` name the
    environment variables that hold them; empty where the server asks for none.
    """

    host: str
    port: int
    sender: str
    to: tuple[str, ...]
    starttls: bool = False
    user_env: str = ""
    password_env: str = ""


def read_mail(given: Mapping[str, Any]) -> Mail | None:
    """The mail settings from checked values; None where there are none."""
    if not given:
        return None
    starttls = given.get("starttls", False)
    return Mail(
        host=given["host"].strip(),
        port=given.get("port", SUBMISSION_PORT if starttls else RELAY_PORT),
        sender=given.get("from", ""),
        to=tuple([given["to"]] if isinstance(given.get("to"), str) else given.get("to", ())),
        starttls=starttls,
        user_env=given.get("user_env", ""),
        password_env=given.get("password_env", ""),
    )


def lacking(given: Mapping[str, Any]) -> list[tuple[str, str]]:
    """What a `[nightly.mail]` table that is there must say and does not: key and sentence."""
    return faults_of_mail(given, "nightly.mail", _NEEDED)


def faults_of_mail(
    given: Mapping[str, Any], table: str, needed: Mapping[str, str]
) -> list[tuple[str, str]]:
    """What a table on mail that is there must say and does not: key and sentence."""
    if not given:
        return []
    faults = [
        (key, f"is missing; write it under [{table}], such as {example}.")
        for key, example in needed.items()
        if key not in given
    ]
    if ("user_env" in given) != ("password_env" in given):
        key = "password_env" if "user_env" in given else "user_env"
        faults.append((key, "is missing; user and password are told together."))
    if "password_env" in given and not given.get("starttls", False):
        faults.append(("starttls", "is not true; a password is sent over TLS only."))
    return faults


def _host(value: Any) -> str | None:
    if isinstance(value, str) and re.fullmatch(r"[A-Za-z0-9.:_-]+", value.strip()):
        return None
    return f'is {show(value)}; write the name of the mail server, such as "mail.example".'


def _port(value: Any) -> str | None:
    if is_whole(value) and 1 <= value <= 65_535:
        return None
    return f"is {show(value)}; write a whole number from 1 to 65535."


def _address(value: Any) -> str | None:
    if isinstance(value, str) and _ADDRESS.fullmatch(value):
        return None
    return f'is {show(value)}; write one address, such as "limeledger@maker.example".'


def _addresses(value: Any) -> str | None:
    several = value if isinstance(value, list) else [value]
    if several and all(_address(one) is None for one in several):
        return None
    return f'is {show(value)}; write addresses, such as ["warranty@maker.example"].'


def _flag(value: Any) -> str | None:
    return None if isinstance(value, bool) else f"is {show(value)}; write true or false."


def _variable(value: Any) -> str | None:
    if isinstance(value, str) and _VARIABLE.fullmatch(value):
        return None
    return f'is {show(value)}; name an environment variable, such as "LIMELEDGER_MAIL_PASSWORD".'


def _command(value: Any) -> str | None:
    if (
        isinstance(value, list)
        and value
        and all(isinstance(word, str) and "\0" not in word for word in value)
        and value[0].strip()
    ):
        return None
    return (
        f"is {show(value)}; write a program and its arguments as a list, "
        'such as ["/usr/bin/logger", "-t", "limeledger"].'
    )


def _time(value: Any) -> str | None:
    if isinstance(value, dt.time):
        return None
    if isinstance(value, str) and re.fullmatch(r"([01]\d|2[0-3]):[0-5]\d", value):
        return None
    return f'is {show(value)}; write hours and minutes, such as "02:15".'


def _seconds(value: Any) -> str | None:
    if is_whole(value) and 1 <= value <= 3_600:
        return None
    return f"is {show(value)}; write a whole number of seconds from 1 to 3600."


def _switch(value: Any) -> str | None:
    return None if value in ("on", "off") else f'is {show(value)}; write "on" or "off".'


def read_time(value: dt.time | str) -> dt.time:
    """A checked time of day."""
    return value if isinstance(value, dt.time) else dt.time.fromisoformat(value)


NIGHTLY: dict[str, Callable[[Any], str | None]] = {
    "at": _time,
    "watch_seconds": _seconds,
    "on_failure_command": _command,
    "schedule": _switch,
    "sensor": _switch,
}
MAIL: dict[str, Callable[[Any], str | None]] = {
    "host": _host,
    "port": _port,
    "from": _address,
    "to": _addresses,
    "starttls": _flag,
    "user_env": _variable,
    "password_env": _variable,
}
_NEEDED = {
    "host": 'host = "mail.example"',
    "from": 'from = "limeledger@maker.example"',
    "to": 'to = ["warranty@maker.example"]',
}
