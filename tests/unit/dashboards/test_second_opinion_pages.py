"""Second opinions on the page of the data, and the printed sheet without a verdict."""

from __future__ import annotations

import datetime as dt

from dashboards import formats
from dashboards.data import SECOND_OPINION_AGREEMENT, SECOND_OPINIONS
from dashboards.pages import agreement
from dashboards.site import blind_document

WHEN = dt.datetime(2026, 3, 31, 10)


def _recorded(sample, **more):
    """Page data with three opinions on two claims; the later one on CL-2 counts and differs."""
    rows = [
        ("CL-1", "covered", "covered", True),
        ("CL-2", "covered", "covered", False),
        ("CL-2", "not_covered", "covered", True),
    ]
    opinions = [
        {"claim": claim, "checked_at": WHEN, "checked_by": "Ada", "verdict": verdict,
         "computed": computed, "agrees": verdict == computed, "counts": counts,
         "band": "lower third", "drawn_at": WHEN, "seed": "7", "note": sample.SCRIPT}
        for claim, verdict, computed, counts in rows
    ]  # fmt: skip
    estimates = [
        {"weighting": weighting, "opinions": 2, "agreeing": 1, "agreement": 0.5,
         "agreement_low": 0.01, "agreement_high": 0.99, "expected_agreement": 0.5, "kappa": 0.0,
         "strata": 1, "claims": 12, "claims_share": 0.6, "method": "m", "note": "too few"}
        for weighting in ("none", "claims")
    ]  # fmt: skip
    return sample.page_data(
        2,
        second_opinions=sample.frame(opinions, SECOND_OPINIONS),
        second_opinion_agreement=sample.frame(estimates, SECOND_OPINION_AGREEMENT),
        **more,
    )


def test_only_the_latest_opinion_of_a_claim_is_told(sample) -> None:
    """Two claims were checked, one agrees; the confusion and the list hold just these."""
    told = agreement.content(_recorded(sample))
    assert told["says"] == (
        "A person who did not see the verdict checked 2 claims and agreed on 1. Weighted to 12 "
        "claims (60% of all), 50.0% agree (1.0% to 99.0%)."
    )
    assert told["confusion"] == [["Covered", "1", "0", "1", "0", "0"]]
    assert [row[:4] for row in told["differing"]] == [["CL-2", "Covered", "Not covered", "Ada"]]
    assert told["notes"] == ["too few."]
    assert told["left_out"] == ""


def test_without_opinions_there_is_a_sentence_and_no_table(sample) -> None:
    """Nobody has checked a claim: how to begin, and nothing else."""
    told = agreement.content(sample.page_data(2))
    assert told["says"].startswith("No second opinion has been recorded yet")
    assert told["rows"] == told["confusion"] == told["differing"] == []


def test_the_printed_sheet_tells_no_verdict(sample) -> None:
    """Verdicts stand there only as the possible answers; what came in is escaped."""
    data = sample.page_data(6)
    claims = data.decisions["claim"].to_list()
    page = blind_document(data, claims)
    body = page.partition("<main")[2]
    assert body.count("Claim ") >= 6
    for label in formats.VERDICTS.values():
        assert body.count(f"☐ {label}</span>") == len(claims)
        body = body.replace(f"☐ {label}</span>", "")
    assert not [label for label in formats.VERDICTS.values() if label in body]
    assert "<script" not in body
    reasons = data.findings["reason"].unique().to_list()
    assert reasons
    assert not [reason for reason in reasons if reason in body]
    assert "payable" not in body
