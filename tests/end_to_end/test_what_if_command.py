"""`limeledger what-if`: other terms beside those in force, and a store that stays as it is."""

import re
from decimal import Decimal

import polars as pl
import pytest

from pipelines.workspace.lock import refresh_lock


@pytest.fixture
def draft(tmp_path):
    """Writes another edition from one of a workspace's, with single values replaced."""

    def write(workspace, name, **values):
        text = (workspace / "terms" / name).read_text(encoding="utf-8")
        for key, value in values.items():
            text, count = re.subn(rf"(?m)^{key} = .*$", f"{key} = {value}", text, count=1)
            assert count == 1, key
        path = tmp_path / "draft.toml"
        path.write_text(text, encoding="utf-8")
        return path

    return write


def paid(decisions):
    """What all claims of a published table pay."""
    lines = [
        pl.col(f"{line}_payable").str.to_decimal(scale=2) for line in ("parts", "labor", "travel")
    ]
    return sum(decisions.select(line.sum()).item() for line in lines)


@pytest.mark.usefixtures("no_figures", "no_pages")
def test_it_comes_to_what_a_refresh_under_these_terms_comes_to(workspace, run, tools, day, draft):
    """The same verdicts and the same money; before that, not a byte of the workspace changes."""
    edition = sorted(path.name for path in (workspace / "terms").glob("*.toml"))[0]
    other = draft(workspace, edition, file_within_days=5, labor_months=30, parts_months=30)
    before = tools["hashes"](workspace)
    was = tools["published"](workspace, "decisions")
    call = run("what-if", other, workspace, "--json")
    assert call.code == 0
    assert tools["hashes"](workspace) == before

    told = call.json
    assert told["claims"] == was.height
    assert told["claims_moved"] == len(told["moved"]) > 3
    (workspace / "terms" / edition).write_text(other.read_text("utf-8"), "utf-8")
    assert run("refresh", workspace, "--as-of", day, "--json").code in (0, 1)
    now = tools["published"](workspace, "decisions")
    verdicts = dict(now["verdict"].value_counts().iter_rows())
    assert {row["verdict"]: row["claims_after"] for row in told["verdicts"]} == {
        row["verdict"]: verdicts.get(row["verdict"], 0) for row in told["verdicts"]
    }
    assert sum(Decimal(row["payable_before"]) for row in told["lines"]) == paid(was)
    assert sum(Decimal(row["payable_after"]) for row in told["lines"]) == paid(now)
    after = dict(now.select("claim", "verdict").iter_rows())
    moved = {row["claim"]: row["verdict_after"] for row in told["moved"]}
    assert moved == {claim: after[claim] for claim in moved}
    pairs = was.join(now, on="claim", suffix="_now")
    differing = pairs.filter(pl.col("verdict") != pl.col("verdict_now"))["claim"]
    assert set(differing) <= set(moved)


def test_the_terms_in_force_change_nothing(sample, run, tools):
    """An edition in its own place: no claim moves, and the forecast is the refresh's own."""
    folder, _ = sample
    told = run("what-if", folder / "terms" / "2024-A.toml", folder, "--json").json
    assert told["claims_moved"] == 0
    assert not told["changed_since_refresh"]
    stored = tools["store"](folder)["main.forecast"].filter(
        pl.col("as_of") == pl.col("as_of").max(), pl.col("basis") == "all"
    )
    costs = stored.filter(by="all").sort("month")["cost"].to_list()
    fleet = [row for row in told["forecast"] if row["family"] == "all"]
    assert len(fleet) == 12
    for side in ("before", "after"):
        told_costs = [float(row[f"cost_{side}"]) for row in fleet]  # amounts are texts, to the cent
        assert told_costs == pytest.approx(costs, abs=0.00501)


def test_a_longer_cover_costs_more_and_a_page_says_so(sample, run, draft, tmp_path):
    """In the claims decided and in the year to come; the page stands alone."""
    folder, _ = sample
    other = draft(folder, "2024-A.toml", labor_months=18)
    page = tmp_path / "other.html"
    call = run("what-if", other, folder, "--for", "2024-A", "--html", page)
    assert call.code == 0
    assert "draft.toml (edition 2024-A) stands in the place of edition 2024-A" in " ".join(
        call.out.split()
    )
    assert re.search(r"covered in part → covered, through within labor window: \+", call.out)
    assert re.search(r"The 12 months to come are expected to cost", call.out)
    text = page.read_text(encoding="utf-8")
    assert "would move" in text
    assert "Within the labor window" in text
    for chart in ("By family", "By region", "By month of failure", "The year to come"):
        assert chart in text
    assert text.count("data:image/svg+xml;base64,") >= 5
    assert "<script" not in text
    assert not re.search(r'(?:src|href)="(?:https?:|//)', text)


def test_each_limit_that_moves_has_its_row(sample, run, draft):
    """A maximum and a minimum of the newest edition: laxer both, units between, an upper bound."""
    limits = {
        "limits.hardness_mg_l_caco3": '{ max = 120, needs = "scale" }',
        "limits.ph": '{ min = 6.5, max = 9, needs = "ph" }',
    }
    folder, _ = sample
    newest = sorted(path.name for path in (folder / "terms").glob("*.toml"))[-1]
    rows = run("what-if", draft(folder, newest, **limits), folder, "--json").json["expected"]
    moved = {(row["analyte"], row["limit_before"], row["limit_after"]) for row in rows}
    assert moved == {("hardness_mg_l_caco3", 60, 120), ("ph", 7, 6.5)}
    assert len({(row["family"], row["analyte"]) for row in rows}) == len(rows) > 2
    for row in rows:
        assert 0 <= row["treated_unit_years"] <= row["unit_years"] <= row["units"] * 366 / 365.25
        assert row["extra_failures"] is None or row["extra_failures"] >= 0
    hard = [row for row in rows if row["analyte"] != "ph" and row["units"]]
    assert hard
    assert all("upper bound" in row["note"] for row in hard)


def test_it_reads_while_a_refresh_runs(workspace, run):
    """The lock of a refresh does not keep anybody from asking."""
    terms = next((workspace / "terms").glob("*.toml"))
    with refresh_lock(workspace / "store"):
        assert run("what-if", terms, workspace, "--json").code == 0


def test_what_is_wrong_is_told_and_nothing_is_written(workspace, run, tools, draft, tmp_path):
    """A fault in the file, a file or an edition that is not there, a page in no folder."""
    edition = next((workspace / "terms").glob("*.toml")).name
    other = draft(workspace, edition, parts_months='"long"')
    line = other.read_text("utf-8").splitlines().index('parts_months = "long"') + 1
    before = tools["hashes"](workspace)
    call = run("what-if", other, workspace)
    assert call.code == 2
    assert f"{other} line {line}, column 1: coverage.parts_months is" in call.err
    assert call.out == ""
    sound = workspace / "terms" / edition
    assert run("what-if", tmp_path / "none.toml", workspace).code == 4
    call = run("what-if", sound, workspace, "--for", "1999-Z")
    assert call.code == 2
    assert '--for "1999-Z": there is no such edition' in call.err
    call = run("what-if", sound, workspace, "--html", tmp_path / "none" / "page.html")
    assert call.code == 2
    assert "cannot be written" in call.err
    assert tools["hashes"](workspace) == before


def test_a_store_of_another_version_is_refused(workspace, run, monkeypatch):
    """Its tables may hold other things: exit code 2, with the way out."""
    monkeypatch.setattr("pipelines.store.reading.source_hash", lambda: "another")
    call = run("what-if", next((workspace / "terms").glob("*.toml")), workspace)
    assert (call.code, call.out) == (2, "")
    assert "was made by another version of this tool" in call.err
    assert "limeledger refresh" in call.err
