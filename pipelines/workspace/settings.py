"""limeledger.toml: the settings, their defaults, and what is wrong with them.

Belongs here: one entry a setting, and the day that it is in the workspace. Does not belong here:
the warranty terms (`pipelines.terms`), mappings (`pipelines.records`).
"""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field
from decimal import Decimal
from pathlib import Path, PurePath
from typing import Any
from zoneinfo import ZoneInfo, available_timezones

from pipelines.errors import WorkspaceError
from pipelines.workspace.clock import now
from pipelines.workspace.desk_settings import DESK, DeskSettings, read_desk
from pipelines.workspace.engine_settings import (
    ENGINE,
    STORAGE,
    EngineSettings,
    StorageSettings,
    read_engine,
    read_storage,
)
from pipelines.workspace.layout import SETTINGS_FILE, Workspace
from pipelines.workspace.letter_settings import (
    LETTER_MAIL,
    LETTERS,
    LetterSettings,
    faults_of_letters,
    read_letters,
)
from pipelines.workspace.night import MAIL, NIGHTLY, Mail, Switch, lacking, read_mail, read_time
from pipelines.workspace.permissions import READERS, Readers
from pipelines.workspace.toml_file import (
    dotted,
    is_number,
    is_whole,
    nearest,
    read_toml,
    show,
    suggest,
)
from pipelines.workspace.values import is_address
from schemas.codes import HIDEABLE, JOINED_COLUMNS

MOST_LIMIT = 1_000_000_000  # more is a slip of the hand
REQUIRED = ("maker", "timezone", "currency")


@dataclass(frozen=True)
class Settings:
    """The settings of a workspace, with defaults for all but the first three.

    A join that matches less than `join_min_share` of at least `join_min_rows` rows needs a person;
    `join_shares` has shares of single joins. `hide` names columns (schemas.codes.HIDEABLE) that
    must not appear under published/; a table of more than `csv_max_rows` rows is published as
    Parquet alone.
    `nightly_at` is the time of the nightly refresh in the workspace's time zone; a delivery must
    have been still for `watch_seconds` before it is read. `on_failure_command` (a program and its
    arguments) and `mail` are told when a refresh fails.
    `sender` is the address that letters come from, `signature` the line that ends them.
    `readable_by` says who may read what the tool writes: the group, or the owner alone;
    `nightly_schedule` and `nightly_sensor` whether Dagster's come up running.
    `ruling_limits` says up to what amount each person may rule (`*`: whoever is not named); None:
    everyone may. A ruling that grants more than `second_person_above` waits for a second person;
    None: nobody is asked twice. `desk` is where people act; `letters` says which letters are due,
    and how they are mailed. `engine` and `storage` say where parts are worked on and lie, which
    changes no result.
    """

    maker: str
    timezone: str
    currency: str
    terms: str = "terms"
    set_aside_tolerance: float = 0.0
    stale_after_days: int = 45
    tanks_l: tuple[float, ...] = (60.0, 190.0)
    duty_hours_per_day: float = 10.0
    conductivity_to_tds: float = 0.65
    calcium_share_of_hardness: float | None = None
    hide: tuple[str, ...] = ()
    csv_max_rows: int = 1_048_575
    max_file_mb: int = 4096
    max_field_chars: int = 16_000_000
    max_columns: int = 2_000
    max_cells: int = 20_000_000
    max_workbook_mb: int = 2_048
    max_workbook_seconds: int = 300
    join_min_share: float = 0.9
    join_min_rows: int = 20
    join_shares: Mapping[str, float] = field(default_factory=dict)
    nightly_at: dt.time = dt.time(2, 15)
    ruling_limits: Mapping[str, Decimal] | None = None
    second_person_above: Decimal | None = None
    watch_seconds: int = 60
    on_failure_command: tuple[str, ...] = ()
    mail: Mail | None = None
    sender: str | None = None
    signature: str | None = None
    readable_by: Readers = "group"
    nightly_schedule: Switch = "on"
    nightly_sensor: Switch = "on"
    desk: DeskSettings = field(default_factory=DeskSettings)
    letters: LetterSettings = field(default_factory=LetterSettings)
    engine: EngineSettings = field(default_factory=EngineSettings)
    storage: StorageSettings = field(default_factory=StorageSettings)

    @property
    def zone(self) -> ZoneInfo:
        """The workspace's time zone."""
        return ZoneInfo(self.timezone)


def load_settings(workspace: Workspace) -> Settings:
    """The settings of a workspace.

    Raises:
        WorkspaceError: one sentence for each fault, with its line.
    """
    return read_settings(workspace.settings_file)


def read_settings(path: Path) -> Settings:
    """The settings in one file; see `load_settings`."""
    file = read_toml(path, SETTINGS_FILE)
    faults = [f"{file.at(path)}: {dotted(path)} {fault}" for path, fault in _faults(file.data)]
    if faults:
        raise WorkspaceError(*faults)
    parts: dict[str, dict[str, Any]] = {name: {} for name in _PARTS.values()}
    given = {}
    for place, value in _leaves(file.data):
        *tables, key = place
        if part := _PARTS.get(place) or _PARTS.get(tuple(tables)):
            parts[part][key] = value
        else:
            given[FIELDS.get(key, key)] = _READ.get(key, _as_is)(value)
    return Settings(
        **given,
        mail=read_mail(parts["mail"]),
        desk=read_desk(parts["desk"]),
        letters=read_letters(parts["letters"], parts["letter_mail"]),
        engine=read_engine(parts["engine"]),
        storage=read_storage(parts["storage"]),
    )


def today(settings: Settings) -> dt.date:
    """The day that it is in the workspace's time zone."""
    return now().astimezone(settings.zone).date()


def _faults(data: Mapping[str, Any]) -> Iterator[tuple[tuple[str, ...], str]]:
    for key in REQUIRED:
        if key not in data:
            yield (key,), "is missing; write it at the top of the file."
    for path, value in _leaves(data):
        known = TABLES[path[:-1]]
        if path in TABLES:
            yield path, f"is {show(value)}; write it as a table, [{dotted(path)}]."
        elif path[-1] not in known:
            names = [*known, *(table[-1] for table in TABLES if table[:-1] == path[:-1] and table)]
            yield path, f"is not a known setting; {suggest(path[-1], names)}"
        elif fault := known[path[-1]](value):
            yield path, fault
    nightly = data.get("nightly")
    mail = nightly.get("mail") if isinstance(nightly, dict) else None
    if isinstance(mail, dict):
        yield from ((("nightly", "mail", key), fault) for key, fault in lacking(mail))
    letters = data.get("letters")
    if isinstance(letters, dict):
        yield from ((("letters", "mail", key), fault) for key, fault in faults_of_letters(letters))


def _leaves(
    data: Mapping[str, Any], above: tuple[str, ...] = ()
) -> Iterator[tuple[tuple[str, ...], Any]]:
    """Every key with its path; the tables that settings know are opened, others are not."""
    for key, value in data.items():
        path = (*above, key)
        if path in TABLES and isinstance(value, dict):
            yield from _leaves(value, path)
        else:
            yield path, value


def _text(value: Any) -> str | None:
    if isinstance(value, str) and value.strip():
        return None
    return f"is {show(value)}; write text in quotes."


def _folder(value: Any) -> str | None:
    if fault := _text(value):
        return fault
    path = PurePath(value)
    if path.is_absolute() or ".." in path.parts or "\0" in value:
        return f"is {show(value)}, which leads out of the workspace; name a folder inside it."
    return None


def _timezone(value: Any) -> str | None:
    if not isinstance(value, str):
        return f'is {show(value)}; write a time zone in quotes, such as "America/Denver".'
    try:
        ZoneInfo(value)
    # A folder of the time zone database or a path out of it is no time zone either.
    except (OSError, ValueError, KeyError):
        near = nearest(value, available_timezones())
        remedy = f"did you mean {near}?" if near else 'write one such as "America/Denver".'
        return f"is {show(value)}, which is no IANA time zone; {remedy}"
    return None


def _currency(value: Any) -> str | None:
    if isinstance(value, str) and re.fullmatch(r"[A-Z]{3}", value):
        return None
    return f'is {show(value)}; write the three capital letters of ISO 4217, such as "USD".'


def _between(low: float, high: float, *, above: bool = False) -> Callable[[Any], str | None]:
    def check(value: Any) -> str | None:
        # As floats: the written 0.7 lies a hair above the float 0.7.
        if is_number(value) and low <= float(value) <= high and not (above and value == low):
            return None
        span = f"above {low} and at most {high}" if above else f"from {low} to {high}"
        return f"is {show(value)}; write a number {span}."

    return check


def _whole(low: int, high: int) -> Callable[[Any], str | None]:
    def check(value: Any) -> str | None:
        if is_whole(value) and low <= value <= high:
            return None
        return f"is {show(value)}; write a whole number from {low} to {high}."

    return check


def _tanks(value: Any) -> str | None:
    if isinstance(value, list) and all(is_number(size) and size > 0 for size in value):
        return None
    return f"is {show(value)}; write a list of sizes in litres, such as [60, 190]."


def _hidden(value: Any) -> str | None:
    if not isinstance(value, list) or not all(isinstance(name, str) for name in value):
        return f'is {show(value)}; write a list of column names, such as ["site_name"].'
    for name in value:
        if name not in HIDEABLE:
            return f'names "{name}", which cannot be hidden; choose from {", ".join(HIDEABLE)}.'
    return None


def _address(value: Any) -> str | None:
    if isinstance(value, str) and is_address(value):
        return None
    return f'is {show(value)}; write one mail address, such as "warranty@maker.example".'


def _ruling_limits(value: Any) -> str | None:
    if not isinstance(value, dict):
        return (
            f"is {show(value)}; write who may rule up to what amount, such as "
            '{ "M. Odell" = 2000, "*" = 0 }.'
        )
    seen: set[str] = set()
    for name, amount in value.items():
        if not name.strip():
            return 'has an empty name; write who it is, or "*" for whoever is not named.'
        if name.strip().lower() in seen:
            return f'names "{name}" twice; capitals make no difference, so name each once.'
        seen.add(name.strip().lower())
        if not is_number(amount) or not 0 <= amount <= MOST_LIMIT:
            return f'gives "{name}" {show(amount)}; write an amount from 0 to {MOST_LIMIT:,}.'
    return None


def _amount(value: Any) -> str | None:
    if is_number(value) and 0 <= value <= MOST_LIMIT:
        return None
    return f"is {show(value)}; write an amount from 0 to {MOST_LIMIT:,}."


def _join_shares(value: Any) -> str | None:
    if not isinstance(value, dict):
        return f'is {show(value)}; write it as a table, such as {{ "startups.agency" = 0.5 }}.'
    for name, share in value.items():
        if name not in JOINED_COLUMNS:
            return f'names "{name}", which is no join; {suggest(name, JOINED_COLUMNS)}'
        if fault := _between(0, 1)(share):
            return f'gives "{name}" a share that {fault}'
    return None


def _readers(value: Any) -> str | None:
    if value in READERS:
        return None
    return f'is {show(value)}; write "group" or "owner".'


def _as_is(value: Any) -> Any:
    return value


TABLES: dict[tuple[str, ...], dict[str, Callable[[Any], str | None]]] = {
    (): {
        "maker": _text,
        "timezone": _timezone,
        "currency": _currency,
        "terms": _folder,
        "set_aside_tolerance": _between(0, 1),
        "stale_after_days": _whole(0, 36_500),
        "tanks_l": _tanks,
        "duty_hours_per_day": _between(0, 24, above=True),
        "conductivity_to_tds": _between(0.5, 0.7),
        "calcium_share_of_hardness": _between(0, 1, above=True),
        "readable_by": _readers,
    },
    ("publish",): {"hide": _hidden, "csv_max_rows": _whole(1, MOST_LIMIT)},
    ("limits",): {
        "max_file_mb": _whole(1, 1_000_000),
        "max_field_chars": _whole(1_000, 1_000_000_000),
        "max_columns": _whole(1, 100_000),
        "max_cells": _whole(1, MOST_LIMIT),
        "max_workbook_mb": _whole(1, 1_000_000),
        "max_workbook_seconds": _whole(1, 86_400),
    },
    ("joins",): {
        "min_share": _between(0, 1),
        "min_rows": _whole(0, MOST_LIMIT),
        "shares": _join_shares,
    },
    ("rulings",): {"limits": _ruling_limits, "second_person_above": _amount},
    ("desk",): DESK,
    ("nightly",): NIGHTLY,
    ("nightly", "mail"): MAIL,
    ("letters",): {"sender": _address, "signature": _text, **LETTERS},
    ("letters", "mail"): LETTER_MAIL,
    ("engine",): ENGINE,
    ("storage",): STORAGE,
}
# Tables, and keys of tables, that have an object of their own.
_PARTS: dict[tuple[str, ...], str] = {
    ("nightly", "mail"): "mail",
    ("desk",): "desk",
    ("letters", "mail"): "letter_mail",
    ("engine",): "engine",
    ("storage",): "storage",
    **{("letters", name): "letters" for name in LETTERS},
}
FIELDS = {
    "at": "nightly_at",
    "limits": "ruling_limits",
    "schedule": "nightly_schedule",
    "sensor": "nightly_sensor",
    "min_share": "join_min_share",
    "min_rows": "join_min_rows",
    "shares": "join_shares",
}
_READ: dict[str, Callable[[Any], Any]] = {
    "set_aside_tolerance": float,
    "tanks_l": lambda sizes: tuple(sorted(float(size) for size in sizes)),
    "duty_hours_per_day": float,
    "conductivity_to_tds": float,
    "calcium_share_of_hardness": float,
    "hide": tuple,
    "min_share": float,
    "shares": lambda shares: {name: float(share) for name, share in shares.items()},
    "limits": lambda limits: {name.strip(): Decimal(amount) for name, amount in limits.items()},
    "second_person_above": Decimal,
    "maker": str.strip,
    "at": read_time,
    "on_failure_command": tuple,
    "signature": lambda text: " ".join(text.split()),
}
