"""Suggested causes on the pages: what they say, how far to trust it, and what they leave alone."""

from __future__ import annotations

import json

import polars as pl

from dashboards.hiding import hide_names
from dashboards.pages import causes
from dashboards.pages import claim as claim_page


def _panel(data, claim: str) -> dict:
    (content,) = claim_page.contents(data, [claim])
    return content["suggested_cause"]


def test_a_claim_tells_what_its_notes_suggest(sample) -> None:
    """Each kind has its sentence with probabilities; the words are listed; it does not decide."""
    data = sample.page_data(6)
    second = _panel(data, sample.claim_number(2))
    assert second["said"] == (
        "Booked as electrical (BOARD), but the notes point to scale, 96%; what is booked gets "
        "under 1%, by a model that has not seen this call. Worth a second look."
    )
    assert second["words"][0] == "part heater +2.10"
    assert "does not decide" in second["limits"]
    lazy = _panel(data, sample.claim_number(3))
    assert lazy["said"].startswith("OTHER names no cause. Notes, part and readings point to wear")
    assert "how surely is not known" in lazy["said"]
    assert _panel(data, sample.claim_number(1))["said"].endswith("71%. Its phrases point to wear.")
    assert _panel(data, sample.claim_number(5)) is None


def test_the_data_page_tells_how_far_to_trust_them(sample) -> None:
    """Shares with their limits, calibration, confusion and the list for a second look."""
    data = sample.page_data(6)
    content = causes.content(data, frozenset([sample.claim_number(2)]))
    assert content["says"].startswith(
        "2 calls without a usable cause have a class suggested. Of 200"
    )
    assert content["quality"][0] == ["all", "200", "200", "90% (85% to 94%)", "90% (85% to 94%)",
                                     "19 of 20"]  # fmt: skip
    assert content["quality"][1][:4] == ["wear *", "3", "0", "–"]
    assert content["notes"] == ["Fewer than 5 calls."]
    assert "1.2% (expected calibration error); the Brier score is 0.151" in content["calibration"]
    assert [row[0] for row in content["bins"]] == ["90% to 100%"]
    drawn = json.loads(content["reliability"])["rows"]["rows"]
    assert drawn[1][:2] == [0.97, 0.98]
    assert content["confusion"]["rows"] == [["scale", "90", ""], ["electrical", "", "90"]]
    (row,) = content["second"]
    assert (row["booked"], row["suggested"], row["sure"]) == ("electrical (BOARD)", "scale", "96%")
    assert row["href"].startswith("claims/")
    assert causes.content(data, frozenset())["second"][0]["href"] == ""


def test_without_a_model_the_reason_is_told(sample) -> None:
    """The section gives the note in place of figures; without any study there is no section."""
    data = sample.page_data(2)
    bare = data.cause_model_quality.filter(cause_class="all").with_columns(
        pl.lit(None, pl.Float64).alias(name)
        for name in ("precision", "brier_score", "expected_calibration_error")
    )
    bare = bare.with_columns(note=pl.lit("Too few calls."))
    empty = {"cause_reliability": data.cause_reliability.clear()}
    empty |= {"cause_confusion": data.cause_confusion.clear()}
    content = causes.content(sample.page_data(2, cause_model_quality=bare, **empty), frozenset())
    assert content["says"].endswith("Too few calls.")
    assert content["quality"] == []
    nothing = sample.page_data(2, cause_model_quality=bare.clear())
    assert causes.content(nothing, frozenset()) is None


def test_hidden_notes_and_names_leave_no_words(sample) -> None:
    """Words of hidden notes go; of a hidden agency's name go the words that are part of it."""
    words = [["crust +1.00", "fennel +0.50", "repair and +0.40", "part heater +0.20"]] * 3
    data = sample.page_data(12)
    told = data.cause_suggestions.with_columns(words=pl.Series(words))
    shown = hide_names(sample.page_data(12, hide=("notes",), cause_suggestions=told))
    assert shown.cause_suggestions["words"].to_list() == [[], [], []]
    shown = hide_names(sample.page_data(12, hide=("agency",), cause_suggestions=told))
    assert shown.cause_suggestions["words"].to_list() == [["crust +1.00", "part heater +0.20"]] * 3
