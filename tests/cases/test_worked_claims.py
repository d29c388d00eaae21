"""The thirty-six worked claims: every verdict, finding and cent.

Source: the worked claims that come with the contract, answered by an independent reading of it.
"""

from datetime import date
from pathlib import Path

import polars as pl
import pytest

from pipelines.coverage import decide

FOLDER = Path(__file__).parent / "worked_claims"
EXPECTED = FOLDER / "expected"


@pytest.fixture(scope="module")
def decided(tools):
    """All worked claims decided as of the day that comes with them."""
    as_of = date.fromisoformat((EXPECTED / "as_of.txt").read_text().strip())
    return decide(*tools.read_workspace(FOLDER / "workspace", as_of))


def _as_text(frame: pl.DataFrame) -> pl.DataFrame:
    return frame.select(pl.all().cast(pl.String)).with_columns(pl.all().replace("", None))


def test_every_decision_agrees_in_every_column(decided):
    """Verdict, lead reason, windows, severity, money and what stands are as worked out."""
    expected = _as_text(pl.read_csv(EXPECTED / "decisions.csv", infer_schema=False))
    found = _as_text(decided.decisions.select(expected.columns))
    assert found.sort("claim").to_dicts() == expected.sort("claim").to_dicts()


def test_every_finding_agrees(decided):
    """All 36 x 20 outcomes are as worked out."""
    expected = _as_text(pl.read_csv(EXPECTED / "findings.csv", infer_schema=False))
    found = _as_text(decided.findings.select(expected.columns))
    key = ["claim", "condition"]
    wrong = found.join(expected, on=key, suffix="_expected").filter(
        pl.col("outcome") != pl.col("outcome_expected")
    )
    assert wrong.to_dicts() == []
    assert found.height == expected.height == 720


def test_findings_stand_in_the_order_of_the_rules_with_reasons_and_sources(decided):
    """Each claim has positions 1 to 20, a sentence each, and cites at least its own call."""
    findings = decided.findings
    positions = findings.group_by("claim").agg("position").get_column("position").to_list()
    assert all(row == list(range(1, 21)) for row in positions)
    assert findings.filter(~pl.col("reason").str.ends_with(".").fill_null(False)).is_empty()
    cited = findings.select("claim", "position", "evidence").explode("evidence").unnest("evidence")
    calls = cited.filter(
        (pl.col("feed") == "service_calls")
        & pl.col("key").str.contains(r"^CALL-\d\d$")
        & pl.col("file").str.contains(r"^service_calls/calls.*csv$")
        & (pl.col("line") > 1)
    )
    assert calls.select("claim", "position").n_unique() == 720


def test_only_unknown_findings_name_a_document_and_all_of_them_do(decided):
    """A document is what could settle an unknown, and nothing else."""
    named = pl.col("document").is_not_null()
    assert decided.findings.filter(named != (pl.col("outcome") == "unknown")).is_empty()


@pytest.mark.parametrize(
    ("claim", "missing"),
    [
        ("W01", None),
        ("W05", "start-up report with its completion date"),
        ("W08", None),
        ("W09", "completion date of the repair"),
        ("W18", "proof of the unit's serial and registration"),
        ("W22", "complete supply water test from before the failure"),
        ("W27", "proof of the treatment's installation date"),
        ("W29", "the owner's deliming log"),
        ("W35", "request date of the start-up"),
    ],
)
def test_missing_documents_are_those_that_could_settle_the_claim(decided, claim, missing):
    """A claim that needs evidence says which; one that is decided asks for none."""
    row = decided.decisions.filter(pl.col("claim") == claim).row(0, named=True)
    assert row["missing"] == missing


def test_the_letter_for_the_digit_is_suggested_and_not_used(decided):
    """W18's serial is one edit from one unit: suggested, while the claim stays without it."""
    row = decided.decisions.filter(pl.col("claim") == "W18").row(0, named=True)
    assert (row["serial_suggestion"], row["model"]) == ("W1801", None)
