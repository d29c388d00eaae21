"""One edition of the terms: what is wrong with its file, and its keys as each family has them.

Belongs here: walking a file along its shape, merging `[family.NAME]`, and checks between keys.
Does not belong here: what a single key may hold (`shape`), checks between editions (`loading`).
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from pipelines.terms.shape import GAS_READING, Key, Table
from pipelines.workspace.toml_file import TomlFile, dotted, show, suggest

Path = tuple[str, ...]
Fault = tuple[Path, str]  # a key, and what is wrong with it as the rest of a sentence


@dataclass(frozen=True)
class Edition:
    """One edition: its tables without families, and merged for each family that has its own."""

    name: str
    effective_from: dt.date
    file: str
    sha256: str
    base: dict[str, Any]
    families: dict[str, dict[str, Any]]

    @property
    def is_example(self) -> bool:
        """Whether the file says that nobody has put in a company's own terms yet."""
        return bool(self.base.get("example", False))

    def tables(self, family: str) -> dict[str, Any]:
        """The edition's tables as they hold for one family."""
        return self.families.get(family, self.base)


def read_edition(file: TomlFile, shape: Table) -> tuple[Edition | None, list[str]]:
    """The edition in a file and a sentence for each fault; no edition where there is any."""
    faults = [*_shape_faults(file.data, shape, ()), *_missing(file.data, shape, ())]
    wrong = {path for path, _ in faults}
    base = {key: value for key, value in file.data.items() if key != "family"}
    overrides = file.data.get("family", {})
    overrides = overrides if isinstance(overrides, dict) else {}
    families = {name: merge(base, own) for name, own in overrides.items() if isinstance(own, dict)}
    if not wrong:
        faults += _between_keys(base)
        known = set(faults)
        for name, merged in families.items():
            for path, why in _between_keys(merged):
                if (path, why) not in known:
                    faults.append((("family", name, *path), why))
    if faults:
        return None, [_sentence(file, path, why) for path, why in faults]
    edition = Edition(
        base["edition"].strip(), base["effective_from"], file.name, file.sha256, base, families
    )
    return edition, []


def merge(base: Mapping[str, Any], own: Mapping[str, Any]) -> dict[str, Any]:
    """`base` with the keys of `own` laid over it: tables key by key, lists and values replaced."""
    merged = dict(base)
    for key, value in own.items():
        below = merged.get(key)
        if isinstance(value, dict) and isinstance(below, dict):
            merged[key] = merge(below, value)
        else:
            merged[key] = value
    return merged


def _sentence(file: TomlFile, path: Path, why: str) -> str:
    return f"{file.at(path)}: {dotted(path)} {why}"


def _shape_faults(tree: Mapping[str, Any], table: Table, at: Path) -> Iterator[Fault]:
    for key, value in tree.items():
        entry = table.keys.get(key)
        path = (*at, key)
        if entry is None:
            yield path, f"{table.unknown}; {suggest(key, table.keys)}"
        elif isinstance(entry, Key):
            if why := entry.check(value):
                yield path, why
        elif isinstance(value, dict):
            yield from _shape_faults(value, entry, path)
        else:
            inside = ", ".join(list(entry.keys)[:3])
            yield path, f"is {show(value)}; write a table with keys such as {inside}."


def _missing(tree: Mapping[str, Any], table: Table, at: Path) -> Iterator[Fault]:
    """Required keys that are not there; limits are looked at only where one is written."""
    for key, entry in table.keys.items():
        path = (*at, key)
        if isinstance(entry, Key):
            if entry.required and key not in tree:
                yield path, f"is missing; write it{_under(at)}."
        elif key in ("family", "limits"):
            continue
        else:
            below = tree.get(key, {})
            if isinstance(below, dict):
                yield from _missing(below, entry, path)


def _under(at: Path) -> str:
    return f" under [{dotted(at)}]" if at else " at the top of the file"


def _between_keys(tree: Mapping[str, Any]) -> Iterator[Fault]:
    maintenance = tree["maintenance"]
    if maintenance["severe_above"] < maintenance["mild_up_to"]:
        yield (
            ("maintenance", "severe_above"),
            f"is {show(maintenance['severe_above'])}, below mild_up_to "
            f"({show(maintenance['mild_up_to'])}); water cannot be mild and severe at once.",
        )
    for analyte, limit in tree["water"].get("limits", {}).items():
        path: Path = ("water", "limits", analyte)
        yield from _bound_faults(path, limit)
        if "needs" not in limit:
            yield path, 'does not say what it needs; add an ability, such as needs = "scale".'
        if analyte == "ph" and any(limit.get(bound, 0) > 14 for bound in ("min", "max")):
            yield path, "has a bound above 14; pH runs from 0 to 14."
    for path, limit in _installation(tree):
        yield from _bound_faults(path, limit)


def _installation(tree: Mapping[str, Any]) -> Iterator[tuple[Path, Mapping[str, Any]]]:
    for reading, limit in tree.get("installation", {}).get("limits", {}).items():
        path: Path = ("installation", "limits", reading)
        if reading == GAS_READING:
            yield from (((*path, gas), bounds) for gas, bounds in limit.items())
        else:
            yield path, limit


def _bound_faults(path: Path, limit: Mapping[str, Any]) -> Iterator[Fault]:
    low, high = limit.get("min"), limit.get("max")
    if low is None and high is None:
        yield path, "has neither min nor max; give one, or take the limit out."
    elif low is not None and high is not None and low > high:
        yield path, f"has a min of {show(low)} above its max of {show(high)}; swap or correct them."
