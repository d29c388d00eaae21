"""Letters through the real command: one, a morning's, in a company's own words, and on time."""

from email import message_from_string
from email.policy import default
from pathlib import Path

import polars as pl
import pytest


def test_a_letter_tells_what_is_missing_and_by_when(claims, run):
    """Text on stdout, nothing on stderr: the document, its form, the day, the clause."""
    call = run("letter", "W21", claims[0])
    assert (call.code, call.err) == (0, "")
    assert "To Northstair Kitchen Care" in call.out
    assert "The claim cannot be decided yet: one document is missing." in call.out
    assert "WHAT IS MISSING, BY 30 JANUARY 2026" in call.out
    assert "complete supply water test from before the failure" in call.out
    assert "[Condition 15 of 20, water tested; terms" in call.out
    assert "Steam and hot water under pressure scald" in call.out


def test_json_and_a_message_in_a_file(claims, run, tmp_path):
    """JSON holds the values and the letter; the file holds the same message, whole."""
    out = tmp_path / "letter.eml"
    call = run("letter", "W25", claims[0], "--format", "eml", "--out", out, "--json")
    told = call.json
    assert call.code == 0
    assert f"The letter is in {out}." in call.err
    assert (told["claim"], told["standing"], told["format"]) == ("W25", "not_covered", "eml")
    assert told["total_standing"] == "0.00"
    assert len(told["reasons"]) == len(told["clauses"]) > 0
    raw = out.read_bytes().decode("ascii")
    assert told["letter"] == raw
    message = message_from_string(raw, policy=default)
    assert message.defects == []
    assert message["Subject"] == told["subject"]
    assert "not covered" in message.get_body(("plain",)).get_content()


def test_a_ruling_stands_in_the_letter_with_its_reason(claims, run):
    """W35 was ruled on: covered, the parts as the person set them."""
    call = run("letter", "W35", claims[0], "--format", "html")
    assert "The claim is covered" in call.out
    assert "Reason given: request seen on paper" in call.out
    assert "Set by the ruling of 2025-02-14: parts." in call.out
    assert "a.fenn" not in call.out


def test_unknown_claims_and_wrong_calls(claims, run, tmp_path):
    """Not found is 4; a form that is none and a file that cannot be written are 2."""
    assert run("letter", "NO-SUCH", claims[0]).code == 4
    assert run("letter", "W21", claims[0], "--format", "pdf").code == 2
    call = run("letter", "W21", claims[0], "--out", tmp_path / "none" / "x.txt")
    assert (call.code, call.out) == (2, "")
    assert "name a file in a folder that is there" in call.err
    assert run("letters", claims[0], "--since", "lately").code == 2


def test_the_first_register_was_told_before(claims, run, tmp_path):
    """One entry for each claim that somebody has to be told of, and nothing to be sent; each with
    its frozen text, in the form that is asked for."""
    out = tmp_path / "letters"
    none = run("letters", claims[0], "--out", out, "--json")
    assert (none.code, none.json["letters"], out.exists()) == (0, [], False)
    call = run("letters", claims[0], "--out", out, "--state", "all", "--format", "text", "--json")
    entries = call.json["letters"]
    assert {row["state"] for row in entries} == {"told_before"}
    # Of units too: what nobody will be sent has no text there.
    assert all(row["serial"] and not row["file"] for row in entries if not row["claim"])
    told = [row for row in entries if row["claim"]]
    decided = pl.read_csv(claims[0] / "published" / "data" / "decisions.csv")
    assert {row["claim"] for row in told} < set(decided["claim"])
    # A dispute that is no contradiction of dates has nobody outside to be told.
    untold = decided.filter(~pl.col("claim").is_in([row["claim"] for row in told]))
    assert set(untold["standing"]) == {"needs_review"}
    assert {path.name for path in out.iterdir()} == {row["file"] for row in told}
    (w21,) = (row for row in told if row["claim"] == "W21")
    text = (out / w21["file"]).read_text("utf-8")
    assert (w21["kind"], w21["due_on"], w21["file"]) == (
        "documents",
        "2026-01-30",
        f"{w21['entry']}-W21.txt",
    )
    assert "WHAT IS MISSING, BY 30 JANUARY 2026" in text
    published = pl.read_parquet(claims[0] / "published" / "data" / "letters.parquet")
    assert published["entry"].to_list() == [row["entry"] for row in entries]
    assert published["basis"].to_list() == [row["basis"] for row in entries]


def test_what_changes_is_told_once_and_no_file_is_replaced(
    workspace, run, no_figures, no_pages, tmp_path
):
    """A date is corrected: one letter, however often it is refreshed and written; looking back
    writes to nobody; a killed end is made good by the next run."""
    calls = workspace / "exports" / "service_calls" / "calls_2025-12-20.csv"
    text = calls.read_text("utf-8")
    assert text.count(",W25,") == 1
    calls.write_text(text.replace(",W25,", ",W25-2,"), "utf-8")
    assert run("refresh", workspace, "--as-of", "2025-12-31").code == 1
    out = tmp_path / "out"
    told = run("letters", workspace, "--out", out, "--json").json["letters"]
    assert [(row["claim"], row["state"]) for row in told] == [("W25-2", "to_send")]
    (file,) = out.iterdir()
    file.write_text("mine")
    run("refresh", workspace, "--as-of", "2025-12-31")
    run("refresh", workspace, "--as-of", "2025-12-30")
    again = run("letters", workspace, "--out", out, "--state", "all", "--json").json["letters"]
    assert [row["claim"] for row in again if row["state"] == "to_send"] == ["W25-2"]
    assert file.read_text() == "mine"
    later = run("letters", workspace, "--out", out, "--since", "2026-01-01", "--json")
    assert later.json["letters"] == []


def test_no_letter_tells_what_a_ruling_has_overtaken(workspace, run, tmp_path):
    """Between ruling and refresh the store still tells the old decision, so no letter goes out."""
    ruled = run("rule", "W21", "covered", workspace, "--by", "a.fenn", "--reason", "seen on paper")
    assert ruled.code == 0
    call = run("letter", "W21", workspace)
    assert (call.code, call.out) == (2, "")
    assert "was ruled on since the last refresh" in call.err
    page = run("explain", "W21", workspace, "--html", tmp_path / "claim.html")
    assert "does not yet tell the ruling made since" in page.err


@pytest.mark.parametrize(
    ("name", "text", "words"),
    [
        (
            "letter.txt.j2",
            "Dear\n{{ agncy }}",
            "letters/letter.txt.j2 line 2: 'agncy' is undefined",
        ),
        ("letter.html.j2", "{% for %}", "letters/letter.html.j2 line 1: "),
    ],
)
def test_a_broken_template_stops_before_anything_is_written(
    workspace, run, tools, name, text, words
):
    """Refresh and letter end with 2 and one sentence; store and pages are as they were."""
    (workspace / "letters").mkdir()
    (workspace / "letters" / name).write_text(text)
    before = _without_note(tools["hashes"](workspace))
    for call in (
        run("refresh", workspace, "--as-of", "2026-02-15"),
        run("letter", "W21", workspace),
        run("check", workspace),
    ):
        assert call.code == 2
        assert call.err.startswith(words)
        assert "Traceback" not in call.err
    assert _without_note(tools["hashes"](workspace)) == before


def test_a_template_that_fails_for_one_claim_is_told_as_a_fault_of_the_workspace(workspace, run):
    """It passed the examples, so only writing this letter shows it."""
    (workspace / "letters").mkdir()
    template = "{{ 1 // (claim | length - 3) }}"
    (workspace / "letters" / "letter.txt.j2").write_text(template)
    call = run("letter", "W21", workspace)
    assert (call.code, call.out) == (2, "")
    assert "letters/letter.txt.j2 line 1: " in call.err
    assert "have changed since the last refresh" in call.err  # the template is new


def test_a_store_of_another_version_is_refreshed_first(workspace, run, monkeypatch, tmp_path):
    """Its tables may hold other things than this tool reads."""
    monkeypatch.setattr("pipelines.store.reading.source_hash", lambda: "of another version")
    for call in (
        run("letter", "W21", workspace),
        run("explain", "W21", workspace, "--html", tmp_path / "claim.html"),
    ):
        assert (call.code, call.out) == (2, "")
        assert "was made by another version of this tool" in call.err
    assert not list(tmp_path.glob("*.html"))


def _without_note(hashes: dict[str, str]) -> dict[str, str]:
    """Without the note on the pages of a refresh that failed."""
    return {path: told for path, told in hashes.items() if not path.endswith("/status.js")}


def test_own_words_and_overdue_documents_after_a_later_refresh(workspace, run, no_figures):
    """Templates of the workspace fill page and command; past the day, the worklist says so."""
    (workspace / "letters").mkdir()
    (workspace / "letters" / "letter.html.j2").write_text("<p>Good day {{ agency_name }}</p>")
    assert run("refresh", workspace, "--as-of", "2026-01-30").code == 1
    page = (workspace / "published" / "index.html").read_text("utf-8")
    assert "documents overdue" not in page
    letters = run("letters", workspace, "--json").json["letters"]
    assert "W21" not in [row["claim"] for row in letters]  # its decision did not change
    assert run("refresh", workspace, "--as-of", "2026-01-31").code == 1
    page = (workspace / "published" / "index.html").read_text("utf-8")
    assert "One document short; 455.00 at stake; documents overdue" in page
    assert "are past the day for their documents" in page
    assert '"due_on":["2026-01-30"' in page.replace("null,", "")
    assert "STILL MISSING, DUE SINCE 30 JANUARY 2026" in run("letter", "W21", workspace).out
    (claim,) = (workspace / "published" / "claims").glob("w21-*.html")
    assert "<p>Good day Northstair Kitchen Care</p>" in claim.read_text("utf-8")
    assert "Good day Northstair" in run("letter", "W21", workspace, "--format", "html").out
    decisions = pl.read_parquet(workspace / "published" / "data" / "decisions.parquet")
    due = decisions.filter(claim="W21")["documents_due_on"].item()
    assert str(due) == "2026-01-30"


def test_explain_writes_a_claims_page_as_one_file(claims, run, tmp_path):
    """Charts as pictures, the letter, no script and no other file."""
    out = tmp_path / "claim.html"
    call = run("explain", "W21", claims[0], "--html", out)
    assert (call.code, call.out) == (0, "")
    assert str(out) in call.err
    page = out.read_text("utf-8")
    assert "Needs evidence: complete supply water test" in page
    assert "Letter to Northstair Kitchen Care" in page
    assert "data:image/svg+xml;base64," in page
    assert "<script" not in page
    assert 'href="../' not in page
    assert run("explain", "W21", claims[0], "--html", tmp_path / "none" / "x").code == 2
    assert run("explain", "NO-SUCH", claims[0], "--html", tmp_path / "x.html").code == 4
    assert not (tmp_path / "x.html").exists()


def test_what_the_settings_hide_is_on_no_letter_of_the_pages(workspace, run, no_figures):
    """The page hides the agency, its address and the site; the letter itself goes to the agency."""
    settings = workspace / "limeledger.toml"
    settings.write_text(settings.read_text() + '[publish]\nhide = ["agency", "site_name"]\n')
    agencies = workspace / "reference" / "agencies.csv"
    header, *rows = agencies.read_text().splitlines()
    rows = [f"{row},desk@hidden-address.example" for row in rows]
    agencies.write_text("\n".join([f"{header},email", *rows]) + "\n")
    (workspace / "letters").mkdir()
    template = "<p>{{ agency }} {{ agency_name }} {{ agency_email }} {{ site_name }} decided</p>"
    (workspace / "letters" / "letter.html.j2").write_text(template)
    assert run("refresh", workspace, "--as-of", "2025-12-31").code == 1
    pages = [path.read_text("utf-8") for path in Path(workspace / "published").rglob("*.html")]
    assert any(" decided</p>" in page for page in pages)
    for name in ("NORTHSTAIR", "Northstair Kitchen Care", "hidden-address"):
        assert not any(name in page for page in pages), name
    assert "Northstair Kitchen Care" in run("letter", "W21", workspace).out
