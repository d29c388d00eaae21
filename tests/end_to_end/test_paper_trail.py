"""Credits, rulings and replacements through the real command: what was paid, by whom, for which."""

from __future__ import annotations

import csv
import io
import shutil
import tomllib
from importlib.resources import files
from pathlib import Path

import polars as pl
import pytest

CREDITS = """claim,credited_on,credit,parts_amount,labor_amount,travel_amount
{covered},2025-02-03,CR-1,{parts},{labor},{travel}
{covered},2025-03-03,CR-2,{parts},{labor},{travel}
{denied},2025-02-03,CR-3,12.50,,
NOWHERE,2025-02-03,CR-4,1.00,,
"""


@pytest.fixture(scope="module")
def paid(claims, run, day, tools, tmp_path_factory):
    """The worked claims with a few credits and limits on rulings, refreshed: folder and claims."""
    folder = tmp_path_factory.mktemp("paid") / "workspace"
    shutil.copytree(claims[0], folder)
    decided = (folder / "published/data/decisions.csv").read_text(encoding="utf-8")
    rows = list(csv.DictReader(io.StringIO(decided)))
    unruled = [row for row in rows if not row["ruling"]]
    covered = next(
        row for row in unruled if row["standing"] == "covered" and float(row["parts_standing"]) > 0
    )
    denied = next(row for row in unruled if row["standing"] == "not_covered")
    lines = {line: covered[f"{line}_standing"] for line in ("parts", "labor", "travel")}
    text = CREDITS.format(covered=covered["claim"], denied=denied["claim"], **lines)
    (folder / "exports" / "credits_2025-12-31.csv").write_text(text, encoding="utf-8")
    with (folder / "limeledger.toml").open("a", encoding="utf-8") as settings:
        settings.write('\n[rulings]\nlimits = { "M. Odell" = 5, "R. Ames" = 100000 }\n')
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("pipelines.steps.figures.figure_tables", tools["empty_figures"])
        call = run("refresh", folder, "--as-of", day, "--json")
    assert call.code in (0, 1), call.err
    return folder, covered, denied


def test_without_credits_nothing_is_said_of_payments(claims, run):
    """No row, no account and no through date where the feed is absent; a sentence says so."""
    folder = claims[0]
    assert run("payments", folder, "--json").json == []
    assert "No credit has come in" in run("payments", folder).out
    accounts = pl.read_csv(folder / "published/data/row_accounts.csv", infer_schema=False)
    assert "credits" not in set(accounts["feed"])
    states = pl.read_csv(folder / "published/data/feed_states.csv", infer_schema=False)
    assert "credits" not in set(states["feed"])


def test_credits_change_no_decision(paid, claims, tools):
    """Decisions and findings are as without the feed; limits only mark rulings."""
    for table in ("decisions", "findings"):
        with_credits, without = (
            tools["published"](folder, table).drop("ruling_beyond_limit", strict=False)
            for folder in (paid[0], claims[0])
        )
        assert with_credits.equals(without)


def test_what_was_paid_twice_and_what_is_not_covered_shows(paid, run):
    """By state, as JSON, as CSV and in words."""
    folder, covered, denied = paid
    rows = {row["claim"]: row for row in run("payments", folder, "--json").json}
    assert rows[covered["claim"]]["state"] == "credited_twice"
    assert rows[denied["claim"]]["state"] == "paid_though_not_covered"
    assert rows[denied["claim"]]["difference"] == "12.50"
    assert rows["NOWHERE"]["state"] == "claim_unknown"
    assert "unpaid" in {row["state"] for row in rows.values()}
    twice = run("payments", folder, "--state", "credited twice", "--json").json
    assert [row["claim"] for row in twice] == [covered["claim"]]
    table = list(csv.DictReader(io.StringIO(run("payments", folder, "--csv").out)))
    assert {row["claim"] for row in table} == set(rows)
    told = run("payments", folder).out
    assert "Credited twice: 1;" in told
    assert f"  {denied['claim']} +12.50: 12.50 paid of 0.00, last on 2025-02-03" in told
    wrong = run("payments", folder, "--state", "lost")
    assert (wrong.code, wrong.out) == (2, "")
    assert "choose one of unpaid, paid_in_part" in wrong.err


def test_explain_and_pages_tell_the_payment(paid, run):
    """The claim's page, the morning and the terminal say the same."""
    folder, covered, _ = paid
    told = run("explain", covered["claim"], folder).out
    assert "Credited twice:" in told
    assert "2025-03-03 (CR-2): parts" in told
    data = run("explain", covered["claim"], folder, "--json").json
    assert data["payment"]["state"] == "credited_twice"
    assert [credit["credit"] for credit in data["credits"]] == ["CR-1", "CR-2"]
    morning = (folder / "published/index.html").read_text(encoding="utf-8")
    assert "Paid twice: 1 claim" in morning
    assert "Paid though not covered: 1 claim, 12.50" in morning


def test_rulings_keep_to_the_limits_of_who_may_rule(paid, run):
    """Too much and an unknown person are refused with what to do; nothing is written."""
    folder, covered, denied = paid
    before = run("audit", folder, "--json").json
    claim = covered["claim"]
    call = run("rule", claim, "covered", "--by", "M. Odell", "--reason", "seen", folder)
    assert call.code == 2
    assert '"M. Odell" may rule up to 5.00' in call.err
    call = run("rule", claim, "not_covered", "--by", "Nobody", "--reason", "seen", folder)
    assert call.code == 2
    assert '"Nobody" may not rule' in call.err
    assert run("audit", folder, "--json").json == before
    call = run("rule", denied["claim"], "not_covered", "--by", "m. odell", "--reason", "ok", folder)
    assert call.code == 0, call.err


def test_an_appeal_is_a_ruling_beside_the_old_one(paid, run):
    """The new ruling names the one that it replaces; explain tells both in order with reasons."""
    folder, covered, _ = paid
    claim = covered["claim"]
    first = ("rule", claim, "not_covered", "--by", "R. Ames", "--reason", "photo shows a dent")
    assert run(*first, "--at", "2025-05-01T09:00", folder).code == 0
    appeal = ("rule", claim, "covered", "--by", "R. Ames", "--reason", "dent was from shipping")
    call = run(*appeal, "--at", "2025-06-01T10:00", folder)
    assert "It replaces the ruling not covered by R. Ames of 2025-05-01 09:00" in call.out
    assert "photo shows a dent" in call.out
    data = run(*appeal, "--at", "2025-04-01T10:00", "--json", folder).json
    assert data["replaces"] is None
    assert data["overruled_by"]["reason"] == "dent was from shipping"
    told = run("explain", claim, folder, "--json").json["rulings"]
    assert [row["ruled_at"][:10] for row in told] == ["2025-04-01", "2025-05-01", "2025-06-01"]
    words = run("explain", claim, folder).out
    assert words.index("photo shows a dent") < words.rindex("dent was from shipping")


def test_the_sample_holds_the_planted_payments_and_replacements(sample, run):
    """As many of each as its plan says, and each claim is worth what was taken over."""
    plan = tomllib.loads((files("sample_data") / "planted.toml").read_text("utf-8"))
    planted = {(quirk["feed"], quirk["kind"]): quirk["records"] for quirk in plan["quirks"]}
    rows = pl.DataFrame(run("payments", sample[0], "--json").json, infer_schema_length=None)
    found = dict(rows.group_by("state").len().iter_rows())
    assert found["credited_twice"] == planted["credits", "credited_twice"]
    assert found["overpaid"] == planted["credits", "credited_too_much"]
    assert found["paid_in_part"] == planted["credits", "labor_left_out"]
    assert found["claim_unknown"] == planted["credits", "claim_misspelled"]
    wrong = planted["credits", "credited_though_not_covered"]
    assert found["paid_though_not_covered"] + found["taken_back"] == wrong
    old = rows.filter((pl.col("state") == "unpaid") & (pl.col("claimed_on") < "2026-04-01"))
    # Never credited, and the one that is credited under a misspelled number.
    assert old.height >= planted["credits", "never_credited"]
    near = rows.filter(pl.col("state") == "claim_unknown")["claim_suggestion"]
    assert near.null_count() == 0
    units = pl.read_csv(sample[0] / "published/data/unit_histories.csv", infer_schema=False)
    carried = units.filter(pl.col("clock_source") == "replaced_unit")
    assert carried.height == planted["units", "replacement"]
    decisions = pl.read_csv(sample[0] / "published/data/decisions.csv", infer_schema=False)
    table = Path(str(files("sample_data"))) / "tables" / "settled.csv"
    from sample_data.settled import settled

    assert settled(decisions).equals(pl.read_csv(table, infer_schema=False))
