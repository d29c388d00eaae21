"""`limeledger causes` through the real command, and that no suggestion reaches a decision."""

from __future__ import annotations

import csv
import io

import polars as pl
import pytest

from sample_data.editions import reference
from sample_data.generate import Shape, make_feeds


@pytest.fixture(scope="module")
def truth():
    """What really failed on each call of the sample: call, true_class and mistake."""
    calls = make_feeds(Shape()).service_calls.select("call", "true_cause", "mistake")
    classes = reference("causes").select(true_cause="cause", true_class="class")
    return calls.join(classes, on="true_cause")


@pytest.fixture(scope="module")
def told(sample, run):
    """What the command says of the sample, as JSON."""
    call = run("causes", sample[0], "--json")
    assert call.code == 0
    return call.json


def test_suggestions_of_the_sample_are_mostly_right(told, truth):
    """Where no usable cause is booked, the class suggested is mostly what really failed."""
    listed = pl.DataFrame(told["suggestions"]).filter(pl.col("kind") != "notes say otherwise")
    judged = listed.join(truth, on="call")
    assert judged.height >= 80
    assert set(judged["mistake"].drop_nulls()) == {"none", "lazy"}
    right = judged["suggested_class"] == judged["true_class"]
    assert right.mean() >= 0.85
    # As sure as they say, within four standard deviations.
    expected = judged["probability"].mean()
    spread = (expected * (1 - expected) / judged.height) ** 0.5
    assert abs(right.mean() - expected) < 4 * spread
    assert all(row["words"] for row in told["suggestions"])


def test_the_second_look_finds_what_was_booked_wrongly(sample, run, truth):
    """Most of the list are planted mistakes, or calls for which the notes do point elsewhere."""
    call = run("causes", sample[0], "--second-look", "--csv")
    assert call.code == 0
    rows = list(csv.DictReader(io.StringIO(call.out)))
    assert {row["kind"] for row in rows} == {"notes say otherwise"}
    wrong = set(truth.filter(mistake="wrong")["call"])
    found = [row for row in rows if row["call"] in wrong]
    assert len(found) >= 8
    assert len(found) >= len(rows) / 2
    true_class = dict(truth.select("call", "true_class").iter_rows())
    assert all(row["suggested_class"] == true_class[row["call"]] for row in found)
    assert all(float(row["recorded_probability"]) <= 0.1 for row in rows)
    text = run("causes", sample[0], "--second-look").out
    assert f"Notes say otherwise, for a second look: {len(rows)}" in text
    assert "Suggestions decide nothing." in text
    assert "No cause is booked" not in text


def test_quality_is_told_beside_the_list(told, sample):
    """Accuracy, calibration and classes come along, and the pages have their section."""
    whole = told["quality"][0]
    assert whole["cause_class"] == "all"
    assert whole["precision_low"] < whole["precision"] < whole["precision_high"]
    assert whole["precision"] > 0.8
    assert whole["expected_calibration_error"] < 0.05
    page = (sample[0] / "published" / "data.html").read_text(encoding="utf-8")
    assert 'id="causes"' in page
    assert "Suggestions decide nothing" in page


def test_wrong_calls_are_sentences(sample, run, tmp_path):
    """Two forms at once are a wrong call; so is a workspace that was never refreshed."""
    call = run("causes", sample[0], "--json", "--csv")
    assert (call.code, call.out) == (2, "")
    assert "choose one of them" in call.err
    assert run("new", tmp_path / "new").code == 0
    call = run("causes", tmp_path / "new")
    assert call.code == 2
    assert "refresh" in call.err


def test_no_suggestion_reaches_a_decision(claims, unrefreshed, run, day, tools, no_figures):
    """Notes, phrases and the suggestions they make leave decisions and findings as they were."""
    (path,) = (unrefreshed / "exports" / "service_calls").glob("*.csv")
    rows = list(csv.DictReader(io.StringIO(path.read_text(encoding="utf-8"))))
    for row in rows:
        if row["kind"] == "repair":
            row["notes"] = f"found {row['cause']}" if row["cause"] else "white crust on it"
    out = io.StringIO()
    writer = csv.DictWriter(out, rows[0], lineterminator="\n")
    writer.writeheader()
    writer.writerows(rows)
    path.write_text(out.getvalue(), encoding="utf-8")
    (unrefreshed / "reference" / "phrases.csv").write_text("phrase,cause_class\nwhite crust,gas\n")
    assert run("refresh", unrefreshed, "--as-of", day).code == claims[1].code
    with_, without = tools["store"](unrefreshed), tools["store"](claims[0])
    suggested = with_["main.cause_suggestions"]
    assert not suggested.equals(without["main.cause_suggestions"])
    assert "“white crust” of weight 1.0" in suggested["words"].explode().to_list()
    for table in ("main.decisions", "main.findings"):
        assert with_[table].equals(without[table]), table
