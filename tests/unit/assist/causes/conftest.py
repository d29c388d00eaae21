"""Invented repair calls with notes, made from a few sentences a class."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence

import polars as pl
import pytest

from pipelines.assist.causes.calls import CALLS
from schemas.columns import polars_schema
from schemas.reference import Phrases

SAID = {
    "scale": ("white crust on the element", "lime in the valve", "crust of lime everywhere"),
    "gasket": ("gasket torn at the door", "door seal flat", "torn gasket and a puddle"),
    "gas": ("igniter gives no spark", "no spark at the burner", "burner will not light"),
}


def calls_of(rows: Sequence[dict]) -> pl.DataFrame:
    """Calls in the shape of CALLS; what a row does not say is empty, its site is its own."""
    blank = dict.fromkeys(CALLS)
    full = [
        blank
        | {
            "call": f"C{place:04}",
            "serial": f"S{place:04}",
            "site": f"K{place:04}",
            "opened_on": dt.date(2025, 1, 1),
            "catch_all": False,
            "readings": [],
        }
        | row
        for place, row in enumerate(rows)
    ]
    return pl.DataFrame(full, schema=CALLS, orient="row")


def coded(count: int, classes: Sequence[str] = tuple(SAID)) -> list[dict]:
    """Calls of each class in turn, with its sentences in turn."""
    return [
        {
            "cause": of.upper(),
            "cause_class": of,
            "notes": SAID[of][place // len(classes) % len(SAID[of])],
        }
        for place, of in ((place, classes[place % len(classes)]) for place in range(count))
    ]


def phrases_of(*rows: tuple[str, str, float]) -> pl.DataFrame:
    """A file of phrases."""
    return pl.DataFrame(list(rows), schema=polars_schema(Phrases), orient="row")


@pytest.fixture(name="calls_of")
def calls_of_fixture():
    """Makes calls in the shape of CALLS."""
    return calls_of


@pytest.fixture(name="coded")
def coded_fixture():
    """Makes calls with a class and its words."""
    return coded


@pytest.fixture(name="phrases_of")
def phrases_of_fixture():
    """Makes a file of phrases."""
    return phrases_of
