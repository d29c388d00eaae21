"""A night that ends badly leaves its note, log and no left-overs; who may not read does not."""

import functools
import json
import os
import signal
import stat
from pathlib import Path

import polars as pl
import pytest

STATUS = Path("published") / "assets" / "status.js"
DIES = """
import pipelines.cli.refresh as command
told = []

def die(text):
    told.append(text)
    if len(told) == 5:
        os.kill(os.getpid(), signal.SIGKILL)

command.progress = die
"""


def note(workspace: Path) -> dict | None:
    """The note on the pages."""
    text = (workspace / STATUS).read_text()
    assert text.startswith("window.limeledgerStatus = ")
    assert text.endswith(";\n")
    return json.loads(text.partition(" = ")[2].rstrip(";\n"))


def ends(workspace: Path) -> list[tuple]:
    """Outcome and exit code of the runs, in their order."""
    lines = (workspace / "store" / "runs.jsonl").read_text().splitlines()
    told = [json.loads(line) for line in lines]
    return [(one["outcome"], one["exit_code"]) for one in told if one["event"] == "end"]


def test_broken_settings_and_terms_leave_their_note(workspace, run, day, tools):
    """Exit code 2, nothing changed but log and note; a refresh that finds nothing new clears it."""
    assert ends(workspace) == [("done", 1)]
    database = tools["hashes"](workspace / "store")
    for file, code in (("limeledger.toml", 2), ("terms/W2.toml", 2)):
        kept = (workspace / file).read_bytes()
        (workspace / file).write_text("= broken\n")
        call = run("refresh", workspace, "--as-of", day, "--json")
        assert (call.code, call.out) == (code, "")
        told = note(workspace)
        assert told is not None
        assert (told["exit_code"], told["outcome"]) == (2, "failed")
        assert " ".join(call.err.split())[:500] == told["reason"]
        assert file.split("/")[-1] in told["reason"]
        (workspace / file).write_bytes(kept)
    assert tools["hashes"](workspace / "store") == database
    call = run("refresh", workspace, "--as-of", day)
    assert "Nothing is new" in call.err
    assert note(workspace) is None
    assert ends(workspace)[1:] == [("failed", 2), ("failed", 2), ("already_current", 1)]


def test_a_killed_refresh_is_found_by_the_next_command(
    workspace, run, day, start, script, no_figures, capfd
):
    """`explain` writes its end and its note; `doctor` names what it left; a refresh mends all."""
    (workspace / "exports" / "units" / "more.csv").write_text(
        (workspace / "exports" / "units" / "register.csv").read_text().splitlines()[0]
        + "\nK0001,CO-1,2024-01-02,2024-01-10,2024-01-20,SITE-16,Kitchen 16,US-NM,00000,\n"
    )
    process = start(functools.partial(exec, script(workspace, DIES), {}))
    process.join(120)
    if process.exitcode != -signal.SIGKILL:
        pytest.fail(f"the refresh was not killed: {process.exitcode}")
    (workspace / "published.old").mkdir()
    (workspace / "store" / "spill").mkdir(exist_ok=True)
    assert note(workspace) is None
    assert run("explain", "W01", workspace).code == 0
    told = note(workspace)
    assert told is not None
    assert (told["outcome"], told["exit_code"]) == ("killed", None)
    assert ends(workspace)[-1] == ("killed", None)
    call = run("doctor", workspace)
    assert "published.old" in call.out
    assert "was found killed" in call.out
    assert run("refresh", workspace, "--as-of", day).code == 1
    assert note(workspace) is None
    assert not (workspace / "published.old").exists()
    assert not (workspace / "store" / "spill").exists()


def test_left_overs_go_also_where_nothing_is_new(workspace, run, day):
    """Staging, old pages, a half-made store and spilled files: gone, and the store as it was."""
    left = ["published.new/a.html", "published.old/a.html", "store/spill/x.tmp"]
    left += ["store/limeledger.duckdb.new", "store/limeledger.duckdb.new.wal"]
    for name in left:
        (workspace / name).parent.mkdir(exist_ok=True)
        (workspace / name).write_text("half")
    told = run("doctor", workspace).out
    assert all(name.split("/a.html")[0].removesuffix("/x.tmp") in told for name in left)
    call = run("refresh", workspace, "--as-of", day)
    assert "Nothing is new" in call.err
    assert [name for name in left if (workspace / name).exists()] == []
    assert not (workspace / "published.new").exists()


def test_rulings_of_an_earlier_version_are_taken_over_once(workspace, run, day, no_figures):
    """Each line is an event; one that was cut off is told with its number and swallows none."""
    (workspace / "store" / "rulings.csv").write_text(
        "claim,ruled_at,ruled_by,ruling,reason,parts_amount,labor_amount,travel_amount\n"
        'W08,2025-12-01T10:00:00-07:00,M. Odell,covered,"Seen, ""fit""",12.5,,\n'
        'W09,2025-12-01T10:00:00-07:00,M. Odell,covered,"half a reas\n'
        "W11,2025-12-02T10:00:00-07:00,M. Odell,not_covered,seen,,,"
    )
    reason = "Two\nlines, and “quotes”"
    call = run("rule", "W10", "covered", workspace, "--by", "M. Odell", "--reason", reason)
    assert call.code == 0
    assert "store/rulings.csv line 3:" in call.err
    told = run("explain", "W10", workspace, "--json").json
    assert reason in json.dumps(told, ensure_ascii=False).replace("\\n", "\n")
    assert run("refresh", workspace).code == 1
    rulings = pl.read_csv(workspace / "published" / "data" / "rulings.csv", infer_schema=False)
    ours = rulings.filter(pl.col("source_file") == "../desk").sort("claim")
    assert ours["claim"].to_list() == ["W08", "W10", "W11"]
    assert ours.row(0, named=True)["reason"] == 'Seen, "fit"'
    assert ours.row(0, named=True)["parts_granted"] == "12.50"
    assert ours["stands"].to_list() == ["true"] * 3
    kinds = [event["via"] for event in run("audit", workspace, "--json").json["events"]]
    assert kinds.count("import") == 2


@pytest.mark.parametrize(
    ("readers", "folder", "file"), [("group", 0o750, 0o640), ("owner", 0o700, 0o600)]
)
def test_nobody_else_reads_whatever_the_umask(
    workspace, run, day, no_figures, readers, folder, file, tmp_path
):
    """Everything below store and published has its mode, and a backup is its owner's alone."""
    settings = workspace / "limeledger.toml"
    settings.write_text(f'readable_by = "{readers}"\n' + settings.read_text())
    before = os.umask(0)
    try:
        (workspace / "store").chmod(0o777)
        (workspace / "published" / "index.html").chmod(0o666)
        assert run("doctor", workspace).out.count("can be read by more people") == 1
        assert run("refresh", workspace, "--as-of", day).code == 1
        assert run("rule", "W08", "covered", workspace, "--by", "a", "--reason", "b").code == 0
        assert run("backup", workspace, tmp_path / "kept.zip").code == 0
    finally:
        os.umask(before)
    assert stat.S_IMODE((tmp_path / "kept.zip").stat().st_mode) == 0o600
    tops = [workspace / "store", workspace / "published"]
    there = [path for top in tops for path in (top, *top.rglob("*"))]
    assert len(there) > 50
    wrong = [p for p in there if stat.S_IMODE(p.stat().st_mode) != (folder if p.is_dir() else file)]
    assert wrong == []
    assert "can be read by more people" not in run("doctor", workspace).out


def test_a_moment_that_is_none_ends_every_command(workspace, run, day, monkeypatch):
    """LIMELEDGER_NOW without its offset: exit code 2, one sentence, nothing on stdout."""
    monkeypatch.setenv("LIMELEDGER_NOW", "2026-01-05 10:00")
    for command in (["refresh", workspace], ["explain", "W01", workspace], ["doctor", workspace]):
        call = run(*command)
        assert (call.code, call.out) == (2, "")
        assert 'LIMELEDGER_NOW is "2026-01-05 10:00"' in call.err
    monkeypatch.setenv("LIMELEDGER_NOW", f"{day}T23:30:00-07:00")
    call = run("refresh", workspace)
    assert "Nothing is new" in call.err
    last = json.loads((workspace / "store" / "runs.jsonl").read_text().splitlines()[-1])
    assert (last["clock"], last["as_of"]) == ("given", day)
