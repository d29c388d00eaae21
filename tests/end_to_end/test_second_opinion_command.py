"""`limeledger second-opinion`: drawn blind, answered, recorded, told, and kept across refreshes."""

from __future__ import annotations

import csv
import html
import re
import shutil
from pathlib import Path

import duckdb
import pytest

OPINIONS = "second_opinions.csv"


def drawn(run, workspace: Path, *more: object) -> dict:
    """What a draw of 20 with a seed of its own says."""
    call = run("second-opinion", workspace, "--sample", 20, "--seed", "7", "--json", *more)
    assert call.code == 0, call.err
    return call.json


def rows_of(file: str | Path) -> list[dict[str, str]]:
    """The lines of a sheet."""
    with Path(file).open(encoding="utf-8-sig", newline="") as opened:
        return list(csv.DictReader(opened))


def answer(file: str | Path, verdicts: dict[str, str], by: str = "Ada") -> None:
    """Fills a sheet in, as a spreadsheet would save it."""
    rows = rows_of(file)
    for row in rows:
        if row["claim"] in verdicts:
            row |= {"verdict": verdicts[row["claim"]], "checked_by": by, "note": "seen"}
    with Path(file).open("w", encoding="utf-8-sig", newline="") as opened:
        writer = csv.DictWriter(opened, rows[0], delimiter=";")
        writer.writeheader()
        writer.writerows(rows)


def computed(workspace: Path) -> dict[str, str]:
    """Each claim's verdict in the store."""
    con = duckdb.connect(str(workspace / "store" / "limeledger.duckdb"), read_only=True)
    try:
        return dict(con.execute("select claim, verdict from decisions").fetchall())
    finally:
        con.close()


def test_a_sheet_shows_evidence_and_no_verdict(workspace, run, tmp_path) -> None:
    """The same seed gives the same sheet; neither file holds a verdict, a finding or a payment."""
    told = drawn(run, workspace)
    rows = rows_of(told["csv"])
    assert [row["claim"] for row in rows] == told["claims"]
    assert len(rows) == 20
    assert {row["verdict"] for row in rows} == {""}
    assert {"serial", "failed_on", "cause", "parts_amount", "model", "call_notes"} <= set(rows[0])
    again = drawn(run, workspace, "--out", tmp_path / "again")
    assert again["claims"] == told["claims"]
    other = run("second-opinion", workspace, "--sample", 20, "--seed", "8", "--json").json
    assert other["claims"] != told["claims"]
    page = Path(told["html"]).read_text("utf-8")
    for claim in told["claims"]:
        assert f"Claim {html.escape(claim)}" in page
    for leak in ("payable", "Findings", "What would change", 'class="verdict', "lead_reason"):
        assert leak not in page
    assert "<script" not in page
    reasons = duckdb.connect(str(workspace / "store" / "limeledger.duckdb"), read_only=True)
    try:
        found = reasons.execute("select distinct reason from findings").fetchall()
    finally:
        reasons.close()
    text = html.unescape(page)
    assert not [reason for (reason,) in found if reason in text]
    # Only the list of possible answers names verdicts, once a claim and once at the head.
    assert len(re.findall("Not covered", page)) == 20
    assert len(re.findall("not_covered", page.partition("<main")[2])) == 1


def test_answers_are_recorded_told_and_kept(workspace, run, day) -> None:
    """From draw to page: agreement, the confusion, the disagreement, and a second refresh."""
    told = drawn(run, workspace)
    rules = computed(workspace)
    verdicts = {claim: rules[claim] for claim in told["claims"][:12]}
    odd = told["claims"][0]
    verdicts[odd] = "needs_review" if rules[odd] != "needs_review" else "covered"
    answer(told["csv"], verdicts)
    call = run("second-opinion", workspace, "--record", told["csv"], "--json")
    assert call.json == {"recorded": 12, "known": 0, "not_answered": 8}
    again = run("second-opinion", workspace, "--record", told["csv"], "--json")
    assert again.json == {"recorded": 0, "known": 12, "not_answered": 8}

    shown = run("second-opinion", workspace, "--json").json
    plain, weighted = shown["agreement"]
    assert (plain["opinions"], plain["agreeing"]) == (12, 11)
    assert plain["agreement"] == pytest.approx(11 / 12)
    assert weighted["weighting"] == "claims"
    assert sum(cell["opinions"] for cell in shown["confusion"]) == 12
    assert [row["claim"] for row in shown["disagreements"]] == [odd]
    said = run("second-opinion", workspace).out
    assert "91.7% agree" in said
    assert f"{odd}: " in said

    kept = (workspace / "store" / OPINIONS).read_bytes()
    refreshed = run("refresh", workspace, "--as-of", day, "--json")
    assert refreshed.code in (0, 1), refreshed.err
    assert (workspace / "store" / OPINIONS).read_bytes() == kept
    assert run("second-opinion", workspace, "--json").json == shown
    page = (workspace / "published" / "data.html").read_text("utf-8")
    assert "checked 12 claims and agreed on 11" in page
    assert "By the rules (rows) and by the person (columns)" in page
    table = rows_of(workspace / "published" / "data" / "second_opinions.csv")
    assert len(table) == 12
    assert [row["claim"] for row in table if row["agrees"] == "false"] == [odd]
    estimates = rows_of(workspace / "published" / "data" / "second_opinion_agreement.csv")
    assert [row["weighting"] for row in estimates] == ["none", "claims"]

    rest = run("second-opinion", workspace, "--sample", 99, "--seed", "9", "--json")
    assert not set(rest.json["claims"]) & set(verdicts)
    assert len(rest.json["claims"]) == len(rules) - 12


def test_faults_name_their_place_and_nothing_is_recorded(workspace, run, tmp_path) -> None:
    """Every fault at once, with file, line and column; the file of opinions is not touched."""
    told = drawn(run, workspace)
    one, two = told["claims"][:2]
    bad = tmp_path / "bad.csv"
    bad.write_text(f"claim,verdict\n{one},coverd\n{two},covered\nNO-SUCH,covered\n", "utf-8")
    call = run("second-opinion", workspace, "--record", bad)
    assert call.code == 2
    assert (
        f'{bad} line 2, column verdict: "coverd" is no verdict; did you mean covered?' in call.err
    )
    assert f"{bad} line 3, column checked_by: nobody is named" in call.err
    assert f'{bad} line 4, column claim: "NO-SUCH" was never drawn' in call.err
    assert "Traceback" not in call.err
    assert not (workspace / "store" / OPINIONS).exists()
    bad.write_text(f"claim,answer\n{one},covered\n", "utf-8")
    assert "the column verdict is missing" in run("second-opinion", workspace, "--record", bad).err
    assert run("second-opinion", workspace, "--record", tmp_path / "no.csv").code == 2


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (("--sample", 0), "--sample 0 draws no claim"),
        (("--sample", 3, "--record", "x.csv"), "two calls"),
        (("--seed", "7"), "--seed goes with --sample"),
        (("--by", "Ada"), "--by goes with --record"),
        (("--sample", 3, "--seed", " "), "--seed is empty"),
    ],
)
def test_wrong_calls_say_what_is_right(workspace, run, arguments, words) -> None:
    """Exit code 2 and a sentence."""
    call = run("second-opinion", workspace, *arguments)
    assert call.code == 2
    assert words in call.err


def test_a_sheet_with_answers_is_never_written_over(workspace, run) -> None:
    """Drawing again into the same files stops with the way out."""
    drawn(run, workspace)
    call = run("second-opinion", workspace, "--sample", 20, "--seed", "7")
    assert call.code == 2
    assert "may hold answers" in call.err


def test_without_opinions_it_says_so(workspace, run) -> None:
    """A note and no numbers."""
    call = run("second-opinion", workspace)
    assert call.code == 0
    assert call.out.startswith("No second opinion has been recorded yet")
    told = run("second-opinion", workspace, "--json").json
    assert told["confusion"] == told["disagreements"] == []
    assert {row["note"] for row in told["agreement"]} == {"no second opinion has been recorded yet"}
    page = (workspace / "published" / "data.html").read_text("utf-8")
    assert "No second opinion has been recorded yet" in page
    assert "NaN" not in page


def test_it_wants_a_refresh_first(unrefreshed, run) -> None:
    """Before the first refresh it says what to do."""
    early = run("second-opinion", unrefreshed, "--sample", 3)
    assert early.code == 2
    assert "limeledger refresh" in early.err


def test_a_file_of_opinions_changed_by_hand_is_refused(workspace, run) -> None:
    """A word that the tool never writes names its line and column."""
    told = drawn(run, workspace)
    answer(told["csv"], {told["claims"][0]: "covered"})
    assert run("second-opinion", workspace, "--record", told["csv"]).code == 0
    file = workspace / "store" / OPINIONS
    file.write_text(file.read_text("utf-8").replace(",covered,", ",sure,", 1), "utf-8")
    call = run("second-opinion", workspace)
    assert call.code == 2
    assert "store/second_opinions.csv line 2, column verdict: sure" in call.err


def test_hidden_names_are_on_no_sheet(workspace, run, tmp_path) -> None:
    """What the settings keep off the pages stays off the sheet and its print."""
    folder = shutil.copytree(workspace, tmp_path / "hidden")
    settings = folder / "limeledger.toml"
    settings.write_text(
        settings.read_text("utf-8") + '[publish]\nhide = ["agency", "site_name", "notes"]\n',
        "utf-8",
    )
    told = drawn(run, folder)
    assert not {"agency", "site_name", "call_notes"} & set(rows_of(told["csv"])[0])
    page = Path(told["html"]).read_text("utf-8")
    assert "NORTHSTAIR" not in page
    assert "Worked kitchen" not in page
