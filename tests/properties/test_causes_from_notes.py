"""What notes suggest depends on the calls, and not on the order of rows or on chance."""

import datetime as dt

import polars as pl
from hypothesis import given, settings
from hypothesis import strategies as st

from pipelines.assist.causes.calls import CALLS
from pipelines.assist.causes.study import study_causes
from schemas.columns import polars_schema
from schemas.reference import Phrases

WORDS = ("lime", "crust", "gasket", "torn", "spark", "igniter", "slow", "door", "14", "=photo")
CLASSES = ("scale", "gasket", "gas", None)
call = st.fixed_dictionaries(
    {
        "notes": st.none() | st.lists(st.sampled_from(WORDS), max_size=5).map(" ".join),
        "part": st.none() | st.sampled_from(["heater", "door gasket"]),
        "cause_class": st.sampled_from(CLASSES),
        "site": st.integers(0, 25).map("K{}".format),
    }
)
phrase = st.tuples(
    st.sampled_from(["lime crust", "torn", "14", "no such words"]),
    st.sampled_from(["scale", "gasket", "wear"]),
    st.floats(0.1, 1),
)
TABLES = ("suggestions", "quality", "reliability", "confusion")


def frame(rows):
    """Calls in the shape of CALLS."""
    full = [
        dict.fromkeys(CALLS)
        | {"call": f"C{at}", "serial": f"S{at}", "opened_on": dt.date(2025, 1, 1)}
        | {"catch_all": False, "readings": [], "cause": row["cause_class"]}
        | row
        for at, row in enumerate(rows)
    ]
    return pl.DataFrame(full, schema=CALLS, orient="row")


@settings(max_examples=25, deadline=None)
@given(
    st.lists(call, min_size=0, max_size=80),
    st.lists(phrase, max_size=4, unique_by=lambda row: row[0]),
    st.randoms(use_true_random=False),
)
def test_the_order_of_rows_does_not_matter(rows, listed, random):
    """Calls and phrases in another order give the same four tables, to the last digit."""
    calls = frame(rows)
    phrases = pl.DataFrame(listed, schema=polars_schema(Phrases), orient="row")
    order = random.sample(range(len(rows)), len(rows))
    one = study_causes(calls, phrases)
    other = study_causes(calls[order], phrases.reverse())
    for name in TABLES:
        assert getattr(one, name).equals(getattr(other, name)), name


@settings(max_examples=25, deadline=None)
@given(st.lists(call, min_size=30, max_size=80))
def test_tables_add_up(rows):
    """Counts of the tables agree, and probabilities and shares are from 0 to 1."""
    told = study_causes(frame(rows), pl.DataFrame(schema=polars_schema(Phrases)))
    whole = told.quality.row(0, named=True)
    if whole["precision"] is None:
        assert whole["note"]
        assert told.suggestions.is_empty()
        return
    classes = told.quality.filter(pl.col("cause_class") != "all")
    for name in ("calls", "suggested", "right", "offered", "offered_right"):
        assert classes[name].sum() == whole[name]
    assert told.reliability["calls"].sum() == whole["calls"] == told.confusion["calls"].sum()
    assert told.reliability["right"].sum() == whole["right"]
    assert 0 <= whole["expected_calibration_error"] <= 1
    assert 0 <= whole["brier_score"] <= 2
    assert told.suggestions["probability"].is_between(0.5, 1).all()
    booked = told.suggestions.filter(pl.col("recorded_class").is_not_null())
    assert (booked["recorded_class"] != booked["suggested_class"]).all()
    assert set(told.suggestions["kind"]) <= {"no cause", "notes say otherwise"}
