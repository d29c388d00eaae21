"""`limeledger field` on a refreshed workspace: the same functions as the pages, for any slice."""

from __future__ import annotations

import csv
import io
import json

import pytest


@pytest.fixture
def asked(claims, run):
    """What the command prints for some options."""
    workspace, _ = claims

    def ask(*options: str) -> str:
        call = run("field", workspace, *options)
        assert call.code == 0
        return call.out

    return ask


def test_a_slice_comes_out_alike_as_json_csv_and_table(asked) -> None:
    """All three forms tell the same rows, and the parts add up to the whole."""
    rows = json.loads(asked("--by", "region,profile", "--json"))
    listed = list(csv.DictReader(io.StringIO(asked("--by", "profile,region", "--csv"))))
    assert [(r["region"], r["profile"], str(r["failures"])) for r in rows] == [
        (r["region"], r["profile"], r["failures"]) for r in listed
    ]
    (whole,) = json.loads(asked("--by", "all", "--json"))
    assert whole["failures"] > 0
    assert sum(row["failures"] for row in rows) == whole["failures"]
    assert sum(row["units"] for row in rows) == whole["units"]
    assert str(whole["failures"]) in asked("--by", "all")


def test_since_and_until_part_the_calendar(asked) -> None:
    """Failures and unit-years before and from a day add up to those of all time."""
    (whole,) = json.loads(asked("--by", "all", "--json"))
    parts = [
        json.loads(asked("--by", "all", option, "2025-03-01", "--json"))[0]
        for option in ("--until", "--since")
    ]
    assert sum(part["failures"] for part in parts) == whole["failures"]
    assert sum(part["unit_years"] for part in parts) == pytest.approx(whole["unit_years"])


@pytest.mark.parametrize(
    ("options", "said"),
    [
        (["--by", "colour"], "colour"),
        (["--by", "all", "--class", "rust"], "rust"),
        (["--by", "all", "--since", "March"], "YYYY-MM-DD"),
        (["--by", "family", "--region", "US-ME"], "--by region"),
    ],
)
def test_a_wrong_option_is_named_with_the_way_out(claims, run, options, said) -> None:
    """One sentence on the error stream, and no figure."""
    call = run("field", claims[0], *options)
    assert call.code == 2
    assert said in call.err
    assert call.out == ""
