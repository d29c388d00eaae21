"""Month end and search through the real command."""

from __future__ import annotations

import polars as pl
from jsonschema import Draft202012Validator


def _valid(run, command: str, told) -> None:
    assert not list(Draft202012Validator(run("schema", command).json).iter_errors(told))


def test_a_month_is_told_and_closed_once(workspace, run, tmp_path) -> None:
    """Files hold the rows; closing needs the month's end, and the months before it closed."""
    told = run("month", "2025-12", workspace, "--csv", tmp_path / "m.csv", "--json").json
    _valid(run, "month", told)
    assert (told["state"], {row["state"] for row in told["rows"]}) == ("open", {"now"})
    decided = sum(row["claims"] for row in told["rows"] if row["measure"] == "decided")
    decisions = pl.read_csv(workspace / "published" / "data" / "decisions.csv")
    assert decided == decisions.height
    assert pl.read_csv(tmp_path / "m.csv").height == len(told["rows"])
    who = ("--close", "--by", "a.fenn")
    assert run("month", "2025-12", workspace, *who, "--as-of", "2025-12-31").code == 2
    closed = run("month", "2025-12", workspace, *who, "--as-of", "2026-01-01", "--json").json
    _valid(run, "month", closed)
    assert (closed["state"], closed["closed_by"]) == ("closed", "a.fenn")
    (event,) = run("audit", workspace, "--json").json["events"][-1:]
    assert (event["event"], event["kind"]) == (closed["event"], "closing")
    frozen = [row | {"state": "now"} for row in closed["rows"] if row["state"] == "frozen"]
    assert frozen == told["rows"]
    again = run("month", "2025-12", workspace, *who, "--as-of", "2026-01-01")
    assert (again.code, "closed by a.fenn already" in again.err) == (2, True)
    later = run("month", "2026-02", workspace, *who, "--as-of", "2026-03-01")
    assert (later.code, "the last refresh is as of 2025-12-31" in later.err) == (2, True)
    for call in (("month", "2025-13"), ("month", "2025-12", workspace, "--close")):
        assert run(*call).code == 2
    run("month", "2025-12", workspace, "--xlsx", tmp_path / "m.xlsx")
    assert pl.read_excel(tmp_path / "m.xlsx", sheet_name="Totals").height > 2


def test_search_finds_a_claim_by_what_is_of_its_unit(claims, run) -> None:
    """By claim, call, and part of a site's name; an unknown claim tells of near ones."""
    told = run("search", "w-21", claims[0], "--json").json
    _valid(run, "search", told)
    assert told["results"][0]["claim"] == "W21"
    by_call = run("search", "call 21", claims[0], "--json").json["results"]
    assert "W21" in [row["claim"] for row in by_call]
    site = run("search", "worked KITCHEN 25", claims[0], "--json").json["results"]
    assert "W25" in [row["claim"] for row in site if row["kind"] == "claim"]
    assert run("search", " -#- ", claims[0]).code == 2
    call = run("explain", "w-021", claims[0])
    assert (call.code, "Near it: W21." in call.err) == (4, True)
