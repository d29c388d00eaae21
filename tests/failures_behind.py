"""What the page of failures lists for an address, written anew from the contract's page alone."""

from __future__ import annotations

import json
import re
from functools import cached_property
from pathlib import Path
from typing import Any
from urllib.parse import unquote

import numpy as np

WORDS = ("event", "first", "age_to", "failed_from", "failed_to")


def page_json(page: Path, key: str) -> dict[str, Any]:
    """The JSON that a page of the site carries under a key."""
    text = page.read_text(encoding="utf-8")
    found = re.search(rf'<script type="application/json" id="{key}">(.*?)</script>', text, re.S)
    assert found, f"{page} carries no {key}"
    return json.loads(found[1])


class Failures:
    """The failures of a site, and how many an address selects."""

    def __init__(self, site: Path) -> None:
        told = page_json(site / "failures.html", "failures-data")
        self.columns: dict[str, list[Any]] = told["columns"]
        self.count = len(self.columns["call"])
        self._masks: dict[tuple[str, str], np.ndarray] = {}

    @cached_property
    def _lists(self) -> dict[str, list[list[str]]]:
        dose = self.columns["dose"]
        return {
            "need": [value.split("+") for value in self.columns["need"]],
            "dose": [[dose["words"][place] for place in places] for places in dose["of"]],
        }

    def of(self, address: str) -> int:
        """How many failures `column=value` pairs joined by `&` select."""
        mask = np.ones(self.count, bool)
        for pair in filter(None, address.split("&")):
            name, _, value = pair.partition("=")
            mask &= self._mask(name, unquote(value))
        return int(mask.sum())

    def _mask(self, name: str, value: str) -> np.ndarray:
        if (name, value) not in self._masks:
            self._masks[name, value] = np.array(self._holds(name, value), bool)
        return self._masks[name, value]

    def _holds(self, name: str, value: str) -> list[bool]:
        columns = self.columns
        if name == "event":
            if value == "any":
                return [True] * self.count
            if value == "water":
                return columns["water_related"]
            return [own == value for own in columns["cause_class"]]
        if name == "first":
            flag = {"any": "first_any", "water": "first_water"}.get(value, "first_of_class")
            event = self._holds("event", value)
            return [a and b for a, b in zip(columns[flag], event, strict=True)]
        if name == "age_to":
            return [age <= int(value) for age in columns["age_days"]]
        if name == "failed_from":
            return [day >= value for day in columns["failed_on"]]
        if name == "failed_to":
            return [day <= value for day in columns["failed_on"]]
        if name == "dose":
            return [value in own or f"{value}:unprotected" in own for own in self._lists["dose"]]
        if name == "need":
            return [value in own for own in self._lists["need"]]
        return [own == value for own in columns[name]]
