"""The worked claims, through the real command: every verdict, finding and cent.

The answers are an independent reading of the decision rules, worked out beforehand
(tests/cases/worked_claims/README.md).
"""

from __future__ import annotations

import hashlib
import json
import shutil
import subprocess
import sys
from pathlib import Path

import polars as pl
import pytest

from pipelines.cli.main import main
from pipelines.store.reading import published_table
from schemas.field import FIELD_TABLES

CASES = Path(__file__).parents[1] / "cases" / "worked_claims"
AS_OF = (CASES / "expected" / "as_of.txt").read_text(encoding="utf-8").strip()


@pytest.fixture(scope="module")
def workspace(claims, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The worked claims' workspace, refreshed once."""
    assert claims[1].code == 1  # two of its feeds are stale
    return shutil.copytree(claims[0], tmp_path_factory.mktemp("worked") / "workspace")


def state(folder: Path) -> dict[str, str]:
    """A hash of every file below a folder, but for the log of runs and the note on the pages.

    The contract's version 2 has every run leave a line, and one that fails its note.
    """
    told = ("runs.jsonl", "limeledger.log", "status.js")
    return {
        str(path.relative_to(folder)): hashlib.sha256(path.read_bytes()).hexdigest()
        for path in sorted(folder.rglob("*"))
        if path.is_file() and path.name not in told
    }


def test_every_decision_agrees(workspace: Path) -> None:
    """Verdict, lead reason, dates, severity and money of all 36 claims, to the cent."""
    expected = pl.read_csv(CASES / "expected" / "decisions.csv", infer_schema=False)
    told = published_table(workspace, "decisions")
    got = told.select(pl.col(name).cast(pl.String) for name in expected.columns)
    assert got.sort("claim").fill_null("").equals(expected.sort("claim").fill_null(""))


def test_every_finding_agrees(workspace: Path) -> None:
    """All 720 outcomes."""
    expected = pl.read_csv(CASES / "expected" / "findings.csv", infer_schema=False)
    got = published_table(workspace, "findings").select(expected.columns)
    assert got.sort(got.columns).equals(expected.sort(expected.columns))


def test_every_citation_leads_to_its_row(workspace: Path) -> None:
    """Each piece of evidence names a feed, a key, a file and the line on which the row stands."""
    cited = published_table(workspace, "findings")["evidence"].explode().drop_nulls().unique()
    assert cited.len() > 100
    for record in cited:
        text = (workspace / "exports" / record["file"]).read_text("utf-8")
        row = text.splitlines()[record["line"] - 1]
        assert all(part in row for part in record["key"].split("-")), record
        assert record["file"].startswith(record["feed"]), record


def test_published_files_say_what_the_store_says(workspace: Path) -> None:
    """Parquet and CSV hold the table of the store."""
    for name in ("decisions", "findings", "row_accounts", "unit_histories", "rates"):
        told = published_table(workspace, name)
        parquet = pl.read_parquet(workspace / "published" / "data" / f"{name}.parquet")
        assert parquet.select(told.columns).equals(told), name
        csv = pl.read_csv(workspace / "published" / "data" / f"{name}.csv", infer_schema=False)
        assert csv.columns == told.columns
        assert csv.height == told.height


def test_a_second_refresh_changes_nothing(
    workspace: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """With nothing new, store and pages stay as they are to the byte, and the command says so."""
    before = state(workspace)
    main(["refresh", str(workspace), "--as-of", AS_OF, "--json"])
    told = capsys.readouterr()
    assert "Nothing is new" in told.err
    assert json.loads(told.out)["claims"] == 36
    assert state(workspace) == before


def test_a_store_made_anew_decides_the_same(workspace: Path, tmp_path: Path) -> None:
    """Deleting the store loses nothing but the history: the same exports give the same tables."""
    copy = tmp_path / "again"
    shutil.copytree(workspace, copy)
    shutil.rmtree(copy / "store")
    shutil.rmtree(copy / "published")
    main(["refresh", str(copy), "--as-of", AS_OF])
    names = ("decisions", "findings", "row_accounts", "unit_histories", "upcoming", *FIELD_TABLES)
    for name in names:
        assert published_table(copy, name).equals(published_table(workspace, name)), name


@pytest.mark.usefixtures("no_figures", "no_pages")
def test_a_correction_decides_its_claim_again(workspace: Path, tmp_path: Path) -> None:
    """A later file with a corrected row moves that claim alone, and the history tells it."""
    copy = tmp_path / "corrected"
    shutil.copytree(workspace, copy)
    calls = copy / "exports" / "service_calls"
    lines = next(calls.glob("*.csv")).read_text("utf-8").splitlines()
    row = next(line for line in lines if line.startswith("CALL-08,"))
    late = "2024-08-03"  # W08 was filed on day 61 of 60
    assert late in row
    (calls / "calls_2025-12-21.csv").write_text(
        "\n".join([lines[0], row.replace(late, "2024-08-02")]) + "\n", "utf-8"
    )
    main(["refresh", str(copy), "--as-of", AS_OF])
    before = published_table(workspace, "decisions")
    after = published_table(copy, "decisions")
    moved = after.join(before, on=["claim", "verdict"], how="anti")
    assert moved.select("claim", "verdict").rows() == [("W08", "covered")]
    history = published_table(copy, "decision_history").sort("decided_at").tail(1)
    assert history.select("claim", "from_verdict", "to_verdict").rows() == [
        ("W08", "not_covered", "covered")
    ]
    assert history["moved"].to_list() == [["filed_in_time"]]
    accounts = published_table(copy, "row_accounts").filter(pl.col("feed") == "service_calls")
    assert accounts["superseded"].sum() == 1


@pytest.mark.usefixtures("no_figures", "no_pages")
def test_a_ruling_stands_and_exports_are_untouched(
    workspace: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """`rule` counts from the next refresh on; the exports stay as they came."""
    copy = tmp_path / "ruled"
    shutil.copytree(workspace, copy)
    exports = state(copy / "exports")
    call = ["rule", "W08", "covered_in_part", "--by", "a.fenn", "--reason", "seen on paper"]
    assert main([*call, "--at", "2025-12-30T09:00", "--parts", "120.50", str(copy)]) == 0
    capsys.readouterr()
    assert main(["explain", "W08", str(copy), "--json"]) == 0
    told = json.loads(capsys.readouterr().out)
    assert told["verdict"] == "not_covered"
    assert [ruling["ruling"] for ruling in told["rulings_since"]] == ["covered_in_part"]
    main(["refresh", str(copy), "--as-of", AS_OF])
    row = published_table(copy, "decisions").filter(pl.col("claim") == "W08").row(0, named=True)
    assert (row["verdict"], row["standing"]) == ("not_covered", "covered_in_part")
    assert str(row["parts_standing"]) == "120.50"
    assert state(copy / "exports") == exports


def test_explain_tells_reasons_and_evidence(
    workspace: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """The terminal's explanation names verdict, finding, file and line, and what is short."""
    assert main(["explain", "W29", str(workspace)]) == 0
    told = capsys.readouterr().out
    assert "Claim W29: needs evidence (delimed)." in told
    assert "service_calls/CALL-29/service_calls/calls_2025-12-20.csv:" in told
    assert "With a log of its deliming, at least every 3 months" in told


def test_check_writes_nothing(workspace: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """`check` reads everything and leaves every byte as it was."""
    before = state(workspace)
    assert main(["check", str(workspace), "--as-of", AS_OF]) == 1
    told = capsys.readouterr().out
    assert "120 rows in 6 files: 120 records" in told
    assert "units: complete to 2025-02-20, stale." in told
    assert state(workspace) == before


@pytest.mark.parametrize(
    ("break_it", "code", "words"),
    [
        (lambda w: shutil.rmtree(w), 2, "there is no such folder"),
        (lambda w: shutil.rmtree(w / "exports"), 2, "the folder exports/ is missing"),
        (lambda w: (w / "limeledger.toml").write_text('maker = "x\n'), 2, "limeledger.toml line 1"),
        (
            lambda w: (w / "reference" / "models.csv").write_text("model,family\n"),
            2,
            "reference/models.csv",
        ),
        (lambda w: (w / "terms" / "W1.toml").write_text("edition = 1\n"), 2, "terms/W1.toml"),
    ],
)
def test_a_broken_workspace_is_refused_and_left_alone(
    workspace: Path,
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
    break_it,
    code: int,
    words: str,
) -> None:
    """The documented exit code, a sentence that names the file, and nothing changed."""
    copy = tmp_path / "broken"
    shutil.copytree(workspace, copy)
    break_it(copy)
    before = state(copy)
    assert main(["refresh", str(copy), "--as-of", AS_OF]) == code
    told = capsys.readouterr().err
    assert words in told
    assert "Traceback" not in told
    assert state(copy) == before


@pytest.mark.usefixtures("no_figures", "no_pages")
def test_bad_files_do_not_stop_the_others(workspace: Path, tmp_path: Path) -> None:
    """A file without a required column and a unit of unknown model: set aside, the rest decided."""
    copy = tmp_path / "bad"
    shutil.copytree(workspace, copy)
    (copy / "exports" / "units" / "more.csv").write_text("serial,model\nX1,CO-1\n", "utf-8")
    register = copy / "exports" / "units" / "register.csv"
    register.write_text(register.read_text("utf-8") + "X2,CO-9,2025-01-01,,,,,,,\n", "utf-8")
    assert main(["refresh", str(copy), "--as-of", AS_OF]) == 1
    aside = published_table(copy, "set_aside").sort("file")
    assert aside.select("file", "line", "column", "rule").rows() == [
        ("units/more.csv", 1, "shipped_on", "missing_column"),
        ("units/register.csv", 37, "model", "unknown_model"),
    ]
    assert published_table(copy, "decisions").height == 36


def test_a_second_refresh_at_the_same_time_is_refused(
    workspace: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """While another process holds the lock the command ends with 3 and says who holds it."""
    copy = tmp_path / "busy"
    shutil.copytree(workspace, copy)
    (copy / "terms" / "note.txt").write_text("something new", "utf-8")
    hold = (
        "import sys; from pathlib import Path; from pipelines.workspace.lock import refresh_lock\n"
        "with refresh_lock(Path(sys.argv[1])): print('held', flush=True); sys.stdin.read()"
    )
    with subprocess.Popen(
        [sys.executable, "-c", hold, str(copy / "store")],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
    ) as holder:
        assert holder.stdout is not None
        assert holder.stdout.readline() == "held\n"
        assert main(["refresh", str(copy), "--as-of", AS_OF]) == 3
        assert f"process {holder.pid}" in capsys.readouterr().err
        holder.communicate("")


@pytest.mark.usefixtures("no_figures")
def test_a_full_disk_leaves_everything_as_it_was(
    workspace: Path,
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Where no space is left while pages are written: 70, one sentence, old store and pages."""
    copy = tmp_path / "full"
    shutil.copytree(workspace, copy)
    (copy / "terms" / "note.txt").write_text("something new", "utf-8")

    def no_space(*_: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("pipelines.steps.publish.build_site", no_space)
    kept = ("store/limeledger.duckdb", "published/index.html", "published/manifest.json")
    before = {name: state(copy)[name] for name in kept}
    assert main(["refresh", str(copy), "--as-of", AS_OF]) == 70
    told = capsys.readouterr().err
    assert "the disk is full" in told
    after = state(copy)
    assert {name: after[name] for name in kept} == before
    assert not (copy / "published.new").exists()
    # What was finished is kept apart, for the refresh after this one.
    assert (copy / "store" / "limeledger.duckdb.new").exists()
    monkeypatch.undo()
    assert main(["refresh", str(copy), "--as-of", AS_OF]) == 1
    assert not (copy / "store" / "limeledger.duckdb.new").exists()


def test_an_unknown_claim_is_not_found(workspace: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """4, and a sentence that names the claim."""
    assert main(["explain", "W99", str(workspace)]) == 4
    assert "There is no claim W99" in capsys.readouterr().err
    assert main(["rule", "W99", "covered", "--by", "x", "--reason", "y", str(workspace)]) == 4


def test_help_loads_nothing_heavy() -> None:
    """`--help` answers without polars, DuckDB, Dagster or altair."""
    code = (
        "import sys\nfrom pipelines.cli.main import main\n"
        "try:\n    main(['--help'])\nexcept SystemExit:\n    pass\n"
        "print(sorted({'polars', 'duckdb', 'dagster', 'altair'} & set(sys.modules)))"
    )
    told = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert told.stdout.splitlines()[-1] == "[]"


def test_an_empty_workspace_refreshes(tmp_path: Path) -> None:
    """What `new` lays out is a workspace that refreshes to empty tables, under example terms."""
    folder = tmp_path / "empty"
    assert main(["new", str(folder)]) == 0
    assert main(["refresh", str(folder), "--as-of", "2026-03-31"]) == 1  # a person should look
    assert published_table(folder, "decisions").is_empty()
    assert (folder / "published" / "index.html").is_file()
    assert main(["new", str(folder)]) == 2
