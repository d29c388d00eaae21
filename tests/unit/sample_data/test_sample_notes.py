"""Notes follow what failed, whatever is booked; what is booked wrongly is planted by count."""

import numpy as np
import polars as pl
import pytest

from sample_data.draws import Draws
from sample_data.editions import TABLES, reference
from sample_data.failures import repair_kinds
from sample_data.generate import Shape, make_feeds
from sample_data.notes import CATCH_ALL, booked, notes
from sample_data.quirks import booking_quirks

NAMES = repair_kinds()["cause"].to_list()


@pytest.fixture(scope="module")
def calls():
    """The sample's service calls with what really failed."""
    return make_feeds(Shape()).service_calls


def test_every_cause_has_words():
    """tables/notes.csv has three findings or more a cause, and no cause or group of nothing."""
    table = pl.read_csv(TABLES / "notes.csv", infer_schema=False)
    findings = dict(table.filter(kind="finding").group_by("of").len().iter_rows())
    assert sorted(findings) == sorted(NAMES)
    assert min(findings.values()) >= 3
    symptoms = set(table.filter(kind="symptom")["of"])
    assert symptoms == set(repair_kinds()["group"])
    assert table["text"].is_unique().sum() >= 100


def test_a_finding_is_of_what_failed():
    """With every cause in turn, the findings that occur are those of that cause alone."""
    table = pl.read_csv(TABLES / "notes.csv", infer_schema=False).filter(kind="finding")
    for position, name in enumerate(NAMES):
        told = notes(np.full(400, position), Draws(7, "notes of one cause")).drop_nulls()
        said = {
            of
            for of, text in table.select("of", "text").rows()
            if told.str.contains_any([text]).any()
        }
        assert said == {name}


def test_about_half_of_the_repairs_have_a_note(calls):
    """Repairs are noted more often than upkeep, and some notes keep what is hard to write."""
    repair = pl.col("kind") == "repair"
    share = calls.group_by(repair.alias("repair")).agg(pl.col("notes").is_not_null().mean())
    of = dict(share.iter_rows())
    assert 0.45 < of[True] < 0.6
    assert of[False] < 0.1
    text = calls["notes"].drop_nulls()
    for hard in ("\n", '"', "<b>", "& "):
        assert text.str.contains(hard, literal=True).any(), hard
    assert text.str.starts_with("=").any()


def test_what_is_booked_is_planted_by_kind(calls):
    """Nothing, the catch-all or another cause stands exactly where a mistake is planted."""
    known = calls.filter(pl.col("cause_known_on").is_not_null() & pl.col("mistake").is_not_null())
    assert known.filter(mistake="none")["cause"].null_count() == known.filter(mistake="none").height
    assert set(known.filter(mistake="lazy")["cause"]) == {CATCH_ALL}
    wrong = known.filter(mistake="wrong")
    assert (wrong["cause"] != wrong["true_cause"]).all()
    right = calls.filter(pl.col("mistake").is_null() & pl.col("cause").is_not_null())
    assert (right["cause"] == right["true_cause"]).all()
    counts = {quirk.kind: quirk.records for quirk in booking_quirks(calls)}
    assert counts["wrong_cause"] == wrong.height
    assert all(count > 20 for count in counts.values())


def test_a_mistake_is_a_cause_of_the_reference_file():
    """What is booked, lazily or by mistake, is a cause of causes.csv; the catch-all is marked."""
    causes = reference("causes")
    assert causes.filter(catch_all="yes")["cause"].to_list() == [CATCH_ALL]
    n = 4_000
    cause, mistake = booked(
        np.arange(n) % len(NAMES), np.arange(n) % 5 > 0, np.zeros(n, dtype=bool), Draws(1, "b")
    )
    assert set(cause.drop_nulls()) <= set(causes["cause"])
    assert (cause.is_null() == pl.Series(np.arange(n) % 5 == 0)).all()
    assert mistake.is_null().mean() > 0.9
