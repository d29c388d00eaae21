"""What a later refresh makes of exports that came again, changed, were corrected or went away."""

import shutil

import polars as pl
import pytest

from dashboards.hiding import HIDDEN

CALLS = "exports/service_calls/calls_2025-12-20.csv"


def _line_of(workspace, path: str, start: str) -> str:
    lines = (workspace / path).read_text().splitlines()
    return next(line for line in lines if line.startswith(start))


def _history(workspace, tools) -> pl.DataFrame:
    return tools["published"](workspace, "decision_history")


def test_reading_all_over_again_changes_nothing(workspace, run, tools, day):
    """Without its pages a workspace is published anew: no row of the store moves, none is added."""
    before = tools["store"](workspace)
    shutil.rmtree(workspace / "published")
    call = run("refresh", workspace, "--as-of", day, "--json")
    assert "Tables and pages for people" in call.err
    assert (workspace / "published" / "index.html").is_file()
    assert call.json["changed_claims"] == 36  # those of the refresh that changed any
    after = tools["store"](workspace)
    # A table is what its inputs make of it: none says what was new of a file.
    assert tools["differing"](before, after) == []


def test_another_version_of_the_tool_reads_and_decides_again(
    workspace, run, tools, day, no_figures, monkeypatch
):
    """With the same exports the tool rests, but not where its own source has changed."""
    assert "Decisions" not in run("refresh", workspace, "--as-of", day).err
    before = tools["store"](workspace)["main.export_files"]
    for module in ("steps.publish", "store.deliveries", "store.states", "store.working_copy"):
        monkeypatch.setattr(f"pipelines.{module}.source_hash", lambda *_: "other")
    assert "Decisions" in run("refresh", workspace, "--as-of", day).err
    after = tools["store"](workspace)["main.export_files"]
    assert set(after["read_by"]).isdisjoint(before["read_by"])
    assert "Decisions" not in run("refresh", workspace, "--as-of", day).err


def test_a_file_that_changed_under_its_name_is_a_new_version(
    workspace, run, tools, day, no_figures
):
    """The old rows are gone, not superseded, and the account shows the new hash."""
    path = workspace / CALLS
    before = tools["published"](workspace, "row_accounts").filter(pl.col("feed") == "service_calls")
    path.write_text(path.read_text().replace("CALL-01,W01,", "CALL-01,W99,"))
    call = run("refresh", workspace, "--as-of", day, "--json")
    assert (call.json["superseded"], call.json["duplicates"]) == (0, 0)
    after = tools["published"](workspace, "row_accounts").filter(pl.col("feed") == "service_calls")
    assert after["rows_read"].to_list() == before["rows_read"].to_list()
    assert after["sha256"].to_list() != before["sha256"].to_list()
    claims = tools["published"](workspace, "decisions")["claim"].to_list()
    assert "W99" in claims
    assert "W01" not in claims
    gone = _history(workspace, tools).filter(pl.col("to_verdict").is_null())
    assert gone["claim"].to_list() == ["W01"]


def test_a_removed_file_takes_its_rows_along(workspace, run, tools, day, no_figures):
    """Without the laboratory's file no landed row, record or account of it is left."""
    (workspace / "exports/water_tests/lab.csv").unlink()
    run("refresh", workspace, "--as-of", day)
    after = tools["store"](workspace)
    for name in ("water_tests", "landed_water_tests", "water_profiles"):
        assert after[f"main.{name}"].is_empty()
    assert "lab.csv" not in " ".join(after["main.row_accounts"]["file"])
    verdict = tools["published"](workspace, "decisions").filter(pl.col("claim") == "W25")
    assert verdict["lead_reason"].to_list() == ["water_tested"]


def test_the_order_of_rows_in_a_file_decides_nothing(workspace, run, tools, day, no_figures):
    """Decisions and money are the same with every export's rows the other way round."""
    before = tools["published"](workspace, "decisions")
    for path in (workspace / "exports").rglob("*.csv"):
        header, *rows = path.read_text().splitlines()
        path.write_text("\n".join([header, *reversed(rows)]) + "\n")
    call = run("refresh", workspace, "--as-of", day, "--json")
    after = tools["published"](workspace, "decisions")
    assert after.sort("claim").equals(before.sort("claim"))
    assert call.json["changed_claims"] == 36  # the history did not grow
    assert _history(workspace, tools).height == 36


def test_cells_that_a_spreadsheet_would_run_are_harmless(workspace, run, tools, day, no_figures):
    """In CSV such a cell begins with an apostrophe; Parquet has it as it came; pages escape it."""
    header = _line_of(workspace, "exports/units/register.csv", "serial,")
    models = ["=2+5", "+2", "-2", "@sum", "<script>alert(1)</script>"]
    rows = [f'F{n:03d},"{model}",2024-01-02' + "," * 7 for n, model in enumerate(models)]
    (workspace / "exports/units/formulas.csv").write_text("\n".join([header, *rows]) + "\n")
    call = run("refresh", workspace, "--as-of", day, "--json")
    assert call.json["set_aside"] == len(models)
    neutral = tools["published"](workspace, "set_aside").sort("line")["value"].to_list()
    assert neutral == ["'=2+5", "'+2", "'-2", "'@sum", "<script>alert(1)</script>"]
    raw = pl.read_parquet(workspace / "published/data/set_aside.parquet")
    assert raw.sort("line")["value"].to_list() == models
    for page in (workspace / "published").rglob("*.html"):
        assert "<script>alert" not in page.read_text(), page.name


@pytest.mark.parametrize("hide", [["site_name", "agency"], ["postal_code", "notes"]])
def test_what_the_settings_hide_is_nowhere_under_published(workspace, run, day, hide):
    """Neither pages nor data files hold the hidden values; other text is still there."""
    settings = workspace / "limeledger.toml"
    names = {
        "site_name": ["Worked kitchen"],
        "agency": ["NORTHSTAIR", "Northstair Kitchen Care", "EASTLOFT"],
        "postal_code": [",00000,", ">00000<"],
        "notes": ["start-up requested, no completion"],
    }
    hidden = [name.encode() for column in hide for name in names[column]]
    settings.write_text(f"{settings.read_text()}\n[publish]\nhide = {hide!r}\n")
    call = run("refresh", workspace, "--as-of", day)
    assert call.code == 1, call.err
    files = [path for path in (workspace / "published").rglob("*") if path.is_file()]
    leaks = [str(p) for p in files for name in hidden if name in p.read_bytes()]
    assert leaks == []
    text = "".join(p.read_text() for p in (workspace / "published" / "claims").glob("*.html"))
    assert "CALL-05" in text
    if "agency" in hide:
        assert HIDDEN in text
        decisions = pl.read_parquet(workspace / "published/data/decisions.parquet")
        assert decisions["agency"].null_count() == decisions.height == 36
