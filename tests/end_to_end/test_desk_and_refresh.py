"""What people record at the desk: decided at once as the next refresh decides it."""

from __future__ import annotations

import contextlib
import shutil
import sqlite3

import duckdb
import pytest
from jsonschema import Draft202012Validator

from pipelines.actions.listing import corrections
from pipelines.cli.schema import schema_of
from pipelines.events import open_desk
from pipelines.queries.claim_page import page_of_claim
from pipelines.queries.deciding_now import decisions_now
from pipelines.queries.store_now import store_now
from pipelines.store.inputs import load_inputs
from pipelines.workspace.layout import Workspace

BY = ("--by", "ann")
MONEY = [
    f"{line}_{kind}"
    for line in ("parts", "labor", "travel")
    for kind in ("claimed", "payable", "standing", "if_covered")
]
DECIDED = ["claim", "serial", "verdict", "lead_reason", "missing", "standing", "ruling", *MONEY]


def table(workspace, sql):
    """Rows of the store."""
    with duckdb.connect(str(workspace / "store" / "limeledger.duckdb"), read_only=True) as con:
        return con.sql(sql).pl()


def claim_page(workspace, claim):
    """The page of a claim, whether it is published or not."""
    return page_of_claim(Workspace.open(workspace), claim)[0]


def decided_now(workspace, day):
    """Every claim decided now: decisions and findings."""
    claims = table(workspace, "select claim from service_calls where claim is not null")["claim"]
    with store_now(load_inputs(workspace, day)) as now:
        more = now.con.sql("select claim from service_calls where claim is not null").pl()["claim"]
        decided = decisions_now(now, sorted({*claims, *more}))
    findings = decided.findings.select("claim", "condition", "outcome", "reason")
    return decided.decisions.select(DECIDED).sort("claim"), findings.sort("claim", "condition")


@pytest.fixture
def acted(workspace, run, day):
    """The worked claims with a day's work at the desk."""
    row = table(workspace, "select * from service_calls where claim = 'W15'").row(0, named=True)
    other = table(workspace, "select * from service_calls where claim = 'W20'").row(0, named=True)
    site = table(workspace, "select site from units where serial = 'W2101'").item()
    at = f"{row['source_file']}:{row['source_line']}"
    test = ("sample=S-DESK", f"site={site}", "point=supply", "sampled_on=2023-01-05", "ph=7.4")
    more = ("tds_mg_l=120", "hardness_mg_l_caco3=40", "calcium_mg_l_caco3=30")
    rest = ("alkalinity_mg_l_caco3=50", "free_chlorine_mg_l=0", "total_chlorine_mg_l=0")
    last = ("chloride_mg_l=5", "sulfate_mg_l=5", "silica_mg_l=5", "temperature_c=20")
    paper = workspace / "report.txt"
    paper.write_text("pH 7.4")
    where = ("--in", workspace, "--as-of", day, *BY, "--json")
    calls = {
        "test": ("enter", "water_tests", *test, *more, *rest, *last, "--document", paper, *where),
        "cause": ("correct", "service_calls", at, "cause=BOARD", "--reason", "by phone", *where),
        "claim": (
            "correct",
            "service_calls",
            f"{other['source_file']}:{other['source_line']}",
            "claim=W20-B",
            "--reason",
            "mistyped",
            *where,
        ),
        "ruling": ("rule", "W08", "covered", workspace, "--reason", "r", "--as-of", day, *BY),
        "gone": ("correct", "service_calls", at, "cause=PITTED", "--reason", "no", *where),
    }
    told = {name: run(*call) for name, call in calls.items()}
    assert {name: call.code for name, call in told.items()} == dict.fromkeys(calls, 0), told
    event = str(told["gone"].json["event"])
    back = run("withdraw", event, workspace, "--reason", "slip", "--as-of", day, *BY, "--json")
    assert back.code == 0, back.err
    return workspace, {name: call.json for name, call in told.items() if call.out[0] == "{"}


def test_a_day_at_the_desk_is_what_the_next_refresh_decides(acted, run, day, no_figures, no_pages):
    """Verdicts, findings and money of every claim are the same; rows are cited as ../desk."""
    workspace, told = acted
    for command, name in (("enter", "test"), ("correct", "cause"), ("correct", "gone")):
        Draft202012Validator(schema_of(command)).validate(told[name])
    moved = {one["claim"]: one for one in told["cause"]["claims"]}
    assert moved["W15"]["before"]["verdict"] == "needs_evidence"
    assert moved["W15"]["after"]["cause"] == "BOARD"
    assert {one["claim"]: one["after"] is None for one in told["claim"]["claims"]}["W20"]
    assert [one["claim"] for one in told["test"]["claims"]] == ["W21"]
    decisions, findings = decided_now(workspace, day)
    published = table(workspace, f"select {', '.join(DECIDED)} from decisions")
    assert not decisions.equals(published.sort("claim"))
    assert run("refresh", workspace, "--as-of", day).code == 1
    published = table(workspace, f"select {', '.join(DECIDED)} from decisions order by claim")
    assert decisions.equals(published.select(DECIDED).cast(decisions.schema))
    after = table(workspace, "select claim, condition, outcome, reason from findings order by all")
    assert findings.equals(after.sort("claim", "condition"))
    accounts = table(workspace, "select * from row_accounts where file = '../desk'").sort("feed")
    assert accounts.select("feed", "rows_read", "records").rows() == [
        ("rulings", 1, 1),
        ("water_tests", 1, 1),
    ]
    assert accounts["through_date"].to_list() == [None, None]
    cited = table(workspace, "select * from evidence where file = '../desk' and claim = 'W21'")
    assert cited["key"].unique().to_list() == ["S-DESK"]
    with contextlib.closing(open_desk(Workspace.open(workspace))) as desk:
        states = [one["state"] for one in corrections(desk)["corrections"]]
    assert states == ["in_force", "in_force", "withdrawn"]
    assert "S-DESK" in claim_page(workspace, "W21")
    assert claim_page(workspace, "W15").count("cause (empty) → BOARD, ann, by phone") == 1
    # What was decided at once is decided so no more than once: nothing is left to lay over.
    with store_now(load_inputs(workspace, day)) as now:
        assert now.feeds == {}


REFUSED = {
    "a model that is not known": (
        ("enter", "units", "serial=N1", "model=NOPE", "shipped_on=2025-01-01"),
        "unknown_model",
    ),
    "no ISO date": (
        ("enter", "units", "serial=N1", "model=CO-1", "shipped_on=01/02/2025"),
        "shipped_on",
    ),
    "a key that is on file": (
        ("enter", "units", "serial=w-0101", "model=CO-1", "shipped_on=2025-01-01"),
        "on file already",
    ),
    "a call without a document": (
        (
            "enter",
            "service_calls",
            "call=N1",
            "serial=W0101",
            "kind=repair",
            "opened_on=2025-01-01",
        ),
        "documents",
    ),
    "a feed that is not entered": (("enter", "rulings", "claim=W08"), "feed"),
    "a column that the feed has not": (("enter", "units", "serail=N1"), "values.serail"),
    "a row that would be set aside": (
        ("correct", "service_calls", "{at}", "cause=NOPE", "--reason", "r"),
        "unknown_cause",
    ),
    "what stands there": (
        ("correct", "service_calls", "{at}", "kind=repair", "--reason", "r"),
        "to be",
    ),
}


LONG_MAPPING = """
layout = "long"
feed = "water_tests"
files = ["results*"]
[columns]
sample = "Sample"
analyte = "Test"
value = "Result"
[constants]
point = "supply"
[analytes]
"Hardness" = "hardness_mg_l_caco3"
"pH" = "ph"
"""


def test_a_result_of_a_laboratorys_list_is_corrected(workspace, run, day, no_figures, no_pages):
    """One row an analyte: its value is another one at once, after a refresh, and told as confirmed
    once the laboratory sends it so; the sample's other results stay."""
    site = table(workspace, "select site from units where serial = 'W2101'").item()
    (workspace / "mappings").mkdir(exist_ok=True)
    (workspace / "mappings" / "results.toml").write_text(LONG_MAPPING)
    file = workspace / "exports" / "results_2023-02-01.csv"
    head, line = "Sample,Site,Sampled On,Test,Result\n", f"L-1,{site},2023-01-05,"
    file.write_text(f"{head}{line}pH,71\n{line}Hardness,80\n")
    assert run("refresh", workspace, "--as-of", day).code in (0, 1)
    sample = "select ph, hardness_mg_l_caco3 from water_tests where sample = 'L-1'"
    assert table(workspace, sample).rows() == [(71.0, 80.0)]
    where = ("--in", workspace, "--as-of", day, *BY, "--reason", "The sheet says 7.1.", "--json")
    at = ("correct", "water_tests", f"{file.name}:2")
    two = run(*at, "ph=7.1", "hardness_mg_l_caco3=8", *where)
    assert (two.code, "this row holds one" in two.err) == (2, True)
    done = run(*at, "ph=7.1", *where)
    assert done.code == 0, done.err
    assert run(*at, "ph=7.1", *where).code == 2  # it is so already
    with store_now(load_inputs(workspace, day)) as now:
        assert now.con.sql(sample).fetchall() == [(7.1, 80.0)]
    assert run("refresh", workspace, "--as-of", day).code in (0, 1)
    assert table(workspace, sample).rows() == [(7.1, 80.0)]
    assert _states(workspace) == ["in_force"]
    later = workspace / "exports" / "results_2023-03-01.csv"
    later.write_text(f"{head}{line}pH,7.1\n")
    assert run("refresh", workspace, "--as-of", day).code in (0, 1)
    assert (table(workspace, sample).rows(), _states(workspace)) == ([(7.1, 80.0)], ["confirmed"])


def _states(workspace):
    desk = open_desk(Workspace.open(workspace))
    try:
        return [one["state"] for one in corrections(desk)["corrections"]]
    finally:
        desk.close()


@pytest.mark.parametrize(("call", "words"), REFUSED.values(), ids=REFUSED)
def test_what_may_not_be_recorded_is_not(claims, run, day, call, words, tmp_path):
    """Each is refused with exit code 2 and a sentence that names column and rule."""
    workspace = shutil.copytree(claims[0], tmp_path / "ws")
    row = table(workspace, "select * from service_calls where claim = 'W15'").row(0, named=True)
    at = f"{row['source_file']}:{row['source_line']}"
    before = run("audit", workspace, "--json").json
    called = [one.format(at=at) for one in call]
    told = run(*called, "--in", workspace, "--as-of", day, *BY)
    assert (told.code, words in told.err) == (2, True), told.err
    assert run("audit", workspace, "--json").json == before


def test_a_row_that_is_nowhere_is_not_found(claims, run, day):
    """Exit code 4."""
    place = ("correct", "units", "units/none.csv:3", "model=CO-1", "--reason", "r")
    before = run("audit", claims[0], "--json").json
    assert run(*place, "--in", claims[0], "--as-of", day, *BY).code == 4
    assert run("audit", claims[0], "--json").json == before


def matters(call):
    """What the doctor says of the desk: weight and sentence."""
    return [
        (one["weight"], one["sentence"]) for one in call.json["findings"] if "desk" in one["matter"]
    ]


def test_the_doctor_looks_at_the_desk_and_writes_nothing(claims, run, tools, tmp_path):
    """A changed event, a document that is not what its name says, a proxy that others share."""
    workspace = shutil.copytree(claims[0], tmp_path / "ws")
    (tmp_path / "a.txt").write_text("a letter")
    test = ("sample=S-1", "site=SITE-01", "point=supply", "sampled_on=2024-01-05")
    where = ("--in", workspace, *BY, "--document", tmp_path / "a.txt")
    assert run("enter", "water_tests", *test, *where).code == 0
    before = tools["hashes"](workspace / "desk")
    assert len(before) == 2
    assert matters(run("doctor", workspace, "--json")) == []
    assert tools["hashes"](workspace / "desk") == before
    [document] = (workspace / "desk" / "documents").iterdir()
    document.write_text("another letter")
    with contextlib.closing(sqlite3.connect(workspace / "desk" / "desk.sqlite")) as con:
        con.execute("drop trigger events_no_update")
        con.execute("update events set actor = 'mallory' where event = 1")
        con.commit()
    settings = workspace / "limeledger.toml"
    proxy = '[desk]\ntrusted_header = "X-Remote-User"\ntrusted_proxies = ["127.0.0.1"]\n'
    settings.write_text(settings.read_text() + proxy)
    told = run("doctor", workspace, "--json")
    assert told.code == 2
    found = matters(told)
    assert [weight for weight, _ in found] == ["fault", "fault", "warning"]
    assert "Event 1 is not as it was recorded" in found[0][1]
    assert document.name in found[1][1]
    assert "every program on this machine" in found[2][1]


def test_a_database_that_cannot_be_reached_stops_before_anything_is_written(
    claims, run, tools, tmp_path, day
):
    """Refresh, actions and the doctor say so in a sentence; store and pages stay as they were."""
    workspace = shutil.copytree(claims[0], tmp_path / "ws")
    settings = workspace / "limeledger.toml"
    address = 'database = "postgresql://nobody@127.0.0.1:9/limeledger"'
    settings.write_text(settings.read_text() + f"[desk]\n{address}\n")
    before = tools["hashes"](workspace / "store")
    for call in (
        ("note", "W08", "x", workspace, *BY),
        ("refresh", workspace, "--as-of", day),
        ("doctor", workspace),
    ):
        told = run(*call)
        assert (told.code, "cannot be reached" in told.err + told.out) == (2, True), call
    assert tools["hashes"](workspace / "store") == before
