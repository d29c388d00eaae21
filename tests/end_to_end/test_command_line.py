"""The command line itself: JSON on stdout, progress on stderr, every exit code."""

import json
import os
import subprocess
import sys
from pathlib import Path

import polars as pl
import pytest

ROOT = next(p for p in Path(__file__).parents if p.name == "tests").parent


def test_refresh_tells_json_on_stdout_and_progress_on_stderr(claims, expected):
    """One JSON value with the counts; the steps and the sentences go to stderr."""
    _, call = claims
    verdicts = pl.read_csv(expected / "decisions.csv")["verdict"].value_counts()
    assert call.json["verdicts"] == dict(verdicts.iter_rows())
    assert (call.json["claims"], call.json["changed_claims"]) == (36, 36)
    assert call.json["as_of"] == "2025-12-31"
    assert call.json["exit_code"] == call.code == 1
    assert "Decisions" in call.err
    assert "36 claims" in call.err
    assert "Traceback" not in call.err


def test_stale_feeds_give_exit_code_one_and_are_named(claims):
    """The register and the laboratory's file are old: done, but a person must look."""
    _, call = claims
    assert call.json["stale_feeds"] == ["units", "water_tests"]
    assert call.code == 1


def test_explain_tells_findings_evidence_and_what_is_missing(claims, run):
    """JSON of a claim that lacks its water test."""
    call = run("explain", "W21", claims[0], "--json")
    told = call.json
    assert call.code == 0
    assert call.err == ""
    assert (told["verdict"], told["lead_reason"]) == ("needs_evidence", "water_tested")
    assert [finding["position"] for finding in told["findings"]] == list(range(1, 21))
    cited = told["findings"][0]["evidence"]
    assert {
        "feed": "service_calls",
        "key": "CALL-21",
        "file": "service_calls/calls_2025-12-20.csv",
        "line": 7,
    } in cited
    assert told["would_change_it"] == [s for s in told["would_change_it"] if s.endswith(".")]
    assert told["parts_claimed"] == "200.00"


def test_the_sample_ends_with_zero_and_says_where_the_pages_are(sample):
    """`demo` succeeds, and its JSON names a page that is there."""
    folder, call = sample
    assert call.code == 0
    assert Path(call.json["pages"]) == folder / "published" / "index.html"
    assert Path(call.json["pages"]).is_file()


def test_a_ruling_on_an_unknown_claim_is_exit_code_four(claims, run, tools):
    """The sentence names the claim, and nothing is written."""
    before = tools["hashes"](claims[0])
    call = run("rule", "NO-SUCH", "covered", claims[0], "--by", "a", "--reason", "b")
    assert call.code == 4
    assert call.err.startswith("There is no claim NO-SUCH in this workspace")
    assert len(call.err.splitlines()) == 1
    assert tools["hashes"](claims[0]) == before


@pytest.mark.parametrize(
    "arguments",
    [
        ("refresh", "--as-of", "31.12.2025"),
        ("refresh", "--as-of", "2025-02-30"),
        ("refresh", "--no-such-option"),
        ("no-such-command",),
        (),
    ],
)
def test_a_wrong_call_is_exit_code_two(workspace, run, tools, arguments):
    """Wrong dates, options and commands end before anything is read."""
    before = tools["hashes"](workspace)
    where = (workspace,) if arguments[:1] == ("refresh",) else ()
    call = run(*arguments, *where)
    assert call.code == 2
    assert call.err
    assert "Traceback" not in call.err
    assert tools["hashes"](workspace) == before


def test_a_fault_of_the_tool_is_exit_code_seventy_with_a_log(workspace, run, tools, monkeypatch):
    """One sentence that names the log; a traceback only there, or with --debug."""

    def broken(*_):
        raise RuntimeError("a planted fault")

    monkeypatch.setattr("pipelines.steps.decide.decide_claims", broken)
    before = tools["hashes"](workspace / "store", workspace / "exports")
    call = run("refresh", workspace, "--as-of", "2025-12-30")
    log = workspace / "store" / "limeledger.log"
    assert call.code == 70
    assert str(log) in call.err
    assert "Traceback" not in call.err
    assert "a planted fault" in log.read_text()
    after = tools["hashes"](workspace / "store", workspace / "exports")
    # Since version 2 of the contract a failed run leaves what it has finished in the working copy.
    kept = {path: told for path, told in after.items() if "limeledger.duckdb.new" not in path}
    assert kept == before
    status = (workspace / "published" / "assets" / "status.js").read_text()
    assert "a planted fault" in status
    assert "Traceback" in run("refresh", workspace, "--as-of", "2025-12-30", "--debug").err


def test_a_reader_that_goes_away_does_not_change_the_exit_code(unrefreshed, day):
    """`limeledger check … | head -1` still ends with 1 where something needs a person."""
    call = [sys.executable, "-m", "pipelines.cli", "check", unrefreshed, "--as-of", day]
    for more in ([], ["--json"]):
        reading, writing = os.pipe()
        os.close(reading)
        with os.fdopen(writing, "wb") as unread:
            done = subprocess.run([*call, *more], stdout=unread, stderr=subprocess.PIPE, text=True)
        assert done.returncode == 1
        assert "Traceback" not in done.stderr
        assert "BrokenPipe" not in done.stderr


def test_the_command_runs_as_a_process_of_its_own(unrefreshed, day):
    """One run as a process of its own: exit code, JSON alone on stdout, progress on stderr."""
    done = subprocess.run(
        [sys.executable, "-m", "pipelines.cli", "check", unrefreshed, "--as-of", day, "--json"],
        capture_output=True,
        text=True,
        cwd=ROOT,
    )
    assert done.returncode == 1
    assert json.loads(done.stdout)["totals"]["records"] == 120
    assert "Read units/register.csv" in done.stderr
    assert "Traceback" not in done.stderr
