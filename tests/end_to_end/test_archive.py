"""What was decided is kept: archived, told again, decided again, and mended after damage."""

import json
import shutil
from datetime import date, timedelta
from pathlib import Path

import duckdb
import pytest

from pipelines.store.archive.seals import catch_up
from pipelines.workspace.layout import Workspace

CASES = next(p for p in Path(__file__).parents if p.name == "tests") / "cases" / "worked_claims"
PUBLISHED = (date(2026, 1, 5), date(2026, 1, 12), date(2026, 1, 20))
AS_OF = "2025-12-31"


def _at(patch: pytest.MonkeyPatch, day: date) -> None:
    patch.setenv("LIMELEDGER_NOW", f"{day}T12:00:00+00:00")


def _query(workspace: Path, sql: str) -> list[tuple]:
    con = duckdb.connect(str(workspace / "store" / "limeledger.duckdb"), read_only=True)
    try:
        return con.execute(sql).fetchall()
    finally:
        con.close()


@pytest.fixture(scope="module")
def past(tmp_path_factory, tools):
    """Three publications: other terms and a claim gone under a new file, then another cause."""
    run = tools["run"]
    workspace = tmp_path_factory.mktemp("archive") / "workspace"
    shutil.copytree(CASES / "workspace", workspace)
    calls = next((workspace / "exports" / "service_calls").glob("*.csv"))
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("pipelines.steps.figures.figure_tables", tools["empty_figures"])
        _at(patch, PUBLISHED[0])
        run("refresh", workspace, "--as-of", "2025-12-01")
        lines = calls.read_text().splitlines(keepends=True)
        gone = next(line for line in lines if ",W12," in line)
        again = calls.with_name("calls_2025-12-21.csv")
        again.write_text("".join(line for line in lines if line != gone))
        calls.unlink()
        for terms in (workspace / "terms").glob("*.toml"):
            text = terms.read_text()
            assert "file_within_days = 60" in text
            terms.write_text(text.replace("file_within_days = 60", "file_within_days = 1"))
            break
        _at(patch, PUBLISHED[1])
        run("refresh", workspace, "--as-of", AS_OF)
        causes = workspace / "reference" / "causes.csv"
        causes.write_text(causes.read_text().replace(",no,no,", ",no,yes,", 1))
        _at(patch, PUBLISHED[2])
        run("refresh", workspace, "--as-of", AS_OF)
    return workspace


@pytest.fixture
def workspace(past, tmp_path, monkeypatch, tools):
    """A copy to do with what a test likes, three days after the last publication."""
    monkeypatch.setattr("pipelines.steps.figures.figure_tables", tools["empty_figures"])
    _at(monkeypatch, date(2026, 1, 23))
    return shutil.copytree(past, tmp_path / "workspace")


def test_every_day_is_reproduced_from_the_archive_alone(run, past, tmp_path, monkeypatch):
    """Exports, terms and reference files may be gone: the same comes out for each of many days."""
    _at(monkeypatch, date(2026, 1, 31))
    bare = tmp_path / "bare"
    (bare / "exports").mkdir(parents=True)
    shutil.copytree(past / "store" / "archive", bare / "store" / "archive")
    shutil.copy(past / "limeledger.toml", bare)
    days = [PUBLISHED[0] + timedelta(days=n) for n in range(20)]
    told = [run("reproduce", "--all", bare, "--decided", day, "--json") for day in days]
    assert [call.code for call in told] == [0] * 20, told[0].err
    assert {call.json["publication"] for call in told} == {1, 2, 3}
    assert all(call.json["same"] == call.json["claims"] > 30 for call in told)


def test_a_claim_that_is_gone_is_told_as_it_stood(run, workspace):
    """W12 left with the second publication; by then and after it exit 4 names its day."""
    told = run("explain", "W12", workspace, "--decided", "2026-01-08", "--json")
    assert told.code == 0, told.err
    assert told.json["now"] is None
    assert told.json["then"]["publication"] == 1
    assert len(told.json["then"]["findings"]) == 20
    cited = {row["feed"] for row in told.json["then"]["evidence_rows"]}
    assert {"service_calls", "units"} <= cited
    after = run("explain", "W12", workspace, "--decided", "2026-01-15")
    assert (after.code, after.out) == (4, "")
    before = run("explain", "W12", workspace, "--decided", "2026-01-04")
    assert before.code == 4
    assert "2026-01-05" in before.err


def test_what_differs_names_the_other_terms(run, workspace):
    """A claim filed within 60 days and not within one has another outcome, by the terms."""
    changed = _query(
        workspace,
        "select claim from decision_history where publication = 2 "
        "and list_contains(moved, 'filed_in_time')",
    )
    assert changed
    told = run("explain", changed[0][0], workspace, "--decided", "2026-01-08", "--json").json
    moved = [one for one in told["differs"] if one["what"] == "filed_in_time"]
    assert [one["then"]["outcome"] for one in moved] == ["met"]
    assert "terms/" in moved[0]["because"]


def test_a_content_delivered_again_keeps_its_day(workspace):
    """The second file holds all rows of the first but one: they arrived with the first."""
    days = _query(workspace, "select distinct arrived_on, first_arrived_on from service_calls")
    assert days == [(PUBLISHED[0], PUBLISHED[0])]
    left = _query(workspace, "select key, left_on from archived_rows where left_on is not null")
    assert [day for _, day in left] == [PUBLISHED[1]]


def test_a_changed_file_names_its_publication(run, workspace):
    """One byte: doctor and refresh tell of publication 2, reproduce ends with 2."""
    file = workspace / "store" / "archive" / "decision_archive-000002.parquet"
    raw = bytearray(file.read_bytes())
    raw[len(raw) // 2] ^= 1
    file.chmod(0o600)
    file.write_bytes(raw)
    faults = [one for one in run("doctor", workspace, "--json").json["findings"]
              if one["matter"] == "archive"]  # fmt: skip
    assert ["publication 2" in one["sentence"] for one in faults] == [True]
    again = run("reproduce", "--all", workspace, "--decided", "2026-01-06")
    assert (again.code, again.out) == (2, "")
    refreshed = run("refresh", workspace, "--as-of", AS_OF)
    assert refreshed.code == 1
    assert "publication 2" in refreshed.err + refreshed.out


def test_an_archive_of_a_newer_tool_stops_a_refresh(run, workspace):
    """Nothing is written where a line of the index is of a later form."""
    index = workspace / "store" / "archive" / "index.jsonl"
    line = json.loads(index.read_text().splitlines()[-1]) | {"format": 99}
    index.write_text(index.read_text() + json.dumps(line) + "\n")
    assert run("refresh", workspace, "--as-of", "2025-12-30").code == 2


def test_a_kill_between_swap_and_seal_is_mended_from_the_store(workspace):
    """The index lacks the last publication: the next run puts its lines back as they were."""
    index = workspace / "store" / "archive" / "index.jsonl"
    whole = index.read_text()
    lines = [line for line in whole.splitlines(keepends=True) if '"publication": 3' not in line]
    assert len(lines) < len(whole.splitlines())
    index.write_text("".join(lines) + '{"publication": 3, "fi')
    catch_up(Workspace.open(workspace))
    assert index.read_text() == whole


def test_a_refresh_with_nothing_new_mends_it_too(run, workspace):
    """The morning after such a kill nobody is sent to a backup for what the store has."""
    index = workspace / "store" / "archive" / "index.jsonl"
    whole = index.read_text()
    index.write_text("".join(whole.splitlines(keepends=True)[:-1]))
    before = run("doctor", workspace)
    assert "lacks what the store published" in before.out
    call = run("refresh", workspace, "--as-of", AS_OF)
    assert "Nothing is new" in call.err
    assert "archive" not in call.out
    assert index.read_text() == whole
    assert "lacks what the store published" not in run("doctor", workspace).out


def test_what_an_index_lacks_is_told_from_the_store_or_not_at_all(run, workspace):
    """Never an earlier publication in its place; without store and index the archive is damaged."""
    index = workspace / "store" / "archive" / "index.jsonl"
    lines = index.read_text().splitlines(keepends=True)
    asked = ("reproduce", "W01", workspace, "--decided", "2026-01-23", "--json")
    for left in (lines[:-1], [line for line in lines if '"publication": 3' not in line], []):
        index.write_text("".join(left))
        assert run(*asked).json["publication"] == 3, len(left)
    index.unlink()
    (workspace / "store" / "limeledger.duckdb").unlink()
    damaged = run(*asked)
    assert (damaged.code, damaged.out) == (2, "")
    assert "index.jsonl is missing" in damaged.err


def test_a_damaged_store_is_made_anew_with_its_history(run, workspace):
    """Decisions and the whole history are as undisturbed; nothing is said to be lost."""
    tables = ("decisions", "findings", "decision_history", "units", "service_calls")
    before = {name: _query(workspace, f"select * from {name} order by all") for name in tables}
    (workspace / "store" / "limeledger.duckdb").write_bytes(b"no database" * 500)
    looked = run("doctor", workspace)
    assert "Nothing that was decided is lost" in looked.out
    assert "elete" not in looked.out
    refreshed = run("refresh", workspace, "--as-of", AS_OF)
    assert refreshed.code in (0, 1), refreshed.err
    for name, rows in before.items():
        assert rows, name
        assert _query(workspace, f"select * from {name} order by all") == rows, name
    assert _query(workspace, "select max(publication) from publications") == [(4,)]


def test_a_store_and_the_last_of_the_archive_lost_lose_no_more(run, workspace):
    """The advice names publication 3 alone; the next one takes no number or file of another."""
    archive = workspace / "store" / "archive"
    (archive / "publications-000003.parquet").unlink()
    kept = {path.name: path.read_bytes() for path in archive.glob("*.parquet")}
    index = (archive / "index.jsonl").read_text()
    (workspace / "store" / "limeledger.duckdb").unlink()
    [finding] = [
        one
        for one in run("doctor", workspace, "--json").json["findings"]
        if one["matter"] == "store"
    ]
    assert finding["weight"] == "fault"
    assert "What publication 3 decided would be lost" in finding["remedy"]
    refreshed = run("refresh", workspace, "--as-of", AS_OF)
    assert refreshed.code == 1, refreshed.err
    assert "What publication 3 decided would be lost" in refreshed.err
    assert {name: (archive / name).read_bytes() for name in kept} == kept
    assert (archive / "index.jsonl").read_text().startswith(index)
    assert _query(workspace, "select publication from publications order by 1") == [
        (1,),
        (2,),
        (4,),
    ]


def test_an_older_store_put_back_takes_over_what_was_published_since(run, workspace):
    """Under other terms a fourth is published; with the third's store the fifth has its history."""
    database = workspace / "store" / "limeledger.duckdb"
    older = database.read_bytes()
    for terms in (workspace / "terms").glob("*.toml"):
        text = terms.read_text().replace("file_within_days = 1\n", "file_within_days = 60\n")
        terms.write_text(text)
    assert run("refresh", workspace, "--as-of", AS_OF).code in (0, 1)
    history = "select claim, publication, to_verdict from decision_history order by all"
    known = _query(workspace, history)
    assert any(publication == 4 for _, publication, _ in known)
    database.write_bytes(older)
    looked = run("doctor", workspace)
    assert "The store is older than its archive: it lacks publication 4." in looked.out
    assert "Nothing that was decided is lost" in looked.out
    refreshed = run("refresh", workspace, "--as-of", AS_OF)
    assert refreshed.code in (0, 1), refreshed.err
    assert "The store is older than its archive" in refreshed.err
    assert _query(workspace, history) == known
    assert _query(workspace, "select max(publication) from publications") == [(5,)]


def test_a_day_that_is_none_or_to_come_is_refused(run, workspace):
    """Exit 2, with nothing on stdout; known before the first publication is not found."""
    for arguments, code in (
        (["--decided", "2026-02-30"], 2),
        (["--decided", "2026-01-24"], 2),
        (["--decided", ""], 2),
        (["--as-of", ""], 2),
        (["--as-of", "2025-12-01", "--known", ""], 2),
        (["--as-of", "2025-12-01", "--known", "2026-01-04"], 4),
    ):
        told = run("explain", "W01", workspace, *arguments, "--json")
        assert (told.code, told.out) == (code, ""), arguments


def test_what_was_known_then_is_decided_again(run, workspace):
    """W12 is decided from what had arrived on a day before it left, and is unknown now."""
    told = run(
        "explain", "W12", workspace, "--as-of", "2025-12-01", "--known", "2026-01-08", "--json"
    )
    assert told.code == 0, told.err
    assert (told.json["as_of"], told.json["known"]) == ("2025-12-01", "2026-01-08")
    assert run("explain", "W12", workspace, "--as-of", "2025-12-01").code == 4


def test_what_had_arrived_and_was_not_to_be_seen_yet_is_decided(run, workspace):
    """The first publication decided as of 1 December; a call of that month was on file."""
    claims = "select claim from service_calls where claim is not null and opened_on > '2025-12-01'"
    later = sorted(claim for (claim,) in _query(workspace, claims))
    assert later
    asked = ("explain", later[0], workspace, "--as-of", "2025-12-31", "--json")
    then = run(*asked, "--known", "2026-01-08")
    assert then.code == 0, then.err
    assert then.json["claim"] == later[0]
    # Nothing of this claim came or left since: it is decided as from all that has arrived.
    now = run(*asked).json
    for name in ("verdict", "failed_on", "serial", "findings"):
        assert then.json[name] == now[name], name
    assert run(*asked, "--known", "2026-01-04").code == 4
