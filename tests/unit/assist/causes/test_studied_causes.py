"""The rules by which notes suggest a cause, on calls whose answers are plain."""

import numpy as np
import polars as pl
import pytest

from pipelines.assist.causes.features import features_of
from pipelines.assist.causes.folds import fold_of
from pipelines.assist.causes.model import train
from pipelines.assist.causes.study import LEAST_CODED, LEAST_OF_CLASS, study_causes
from pipelines.assist.causes.words import phrases_in, tokens_of
from schemas.causes import CAUSE_TABLES
from schemas.columns import polars_schema

TABLES = {
    "suggestions": "cause_suggestions",
    "quality": "cause_model_quality",
    "reliability": "cause_reliability",
    "confusion": "cause_confusion",
}


@pytest.fixture
def study(calls_of, phrases_of):
    """Studies some rows; every table fits its class and holds no NaN."""

    def studied(rows, *phrases):
        tables = study_causes(calls_of(rows), phrases_of(*phrases))
        for name, table in TABLES.items():
            frame = getattr(tables, name)
            assert frame.schema == polars_schema(CAUSE_TABLES[table])
            CAUSE_TABLES[table].validate(frame, lazy=True)
            floats = frame.select(pl.col(pl.Float64)).fill_null(0)
            assert not any(column.is_nan().any() for column in floats)
        return tables

    return studied


def of(tables, call):
    """The suggestion for one call; None where there is none."""
    rows = tables.suggestions.filter(call=call).to_dicts()
    return rows[0] if rows else None


def overall(tables):
    """The row of all classes."""
    return tables.quality.row(by_predicate=pl.col("cause_class") == "all", named=True)


def test_a_call_without_a_cause_gets_the_class_of_its_words(study, coded):
    """The suggestion has its probability, its words with numbers, and where it comes from."""
    rows = [*coded(90), {"call": "NEW", "claim": "WC-1", "notes": "White crust on the element."}]
    told = of(study(rows, ("white crust", "scale", 0.9)), "NEW")
    assert (told["kind"], told["suggested_class"], told["source"]) == ("no cause", "scale", "both")
    assert told["probability"] > 0.8
    assert told["recorded_class"] is None
    assert told["recorded_probability"] is None
    assert told["words"][0].startswith("phrase “white crust” +")
    gains = [float(word.rpartition(" +")[2]) for word in told["words"]]
    assert gains == sorted(gains, reverse=True)
    assert any(word.startswith("crust +") for word in told["words"])
    assert of(study(rows), "NEW")["source"] == "model"


def test_a_catch_all_is_as_good_as_no_cause(study, coded):
    """What is booked as `other` is not learned from, and gets a suggestion."""
    other = {"cause": "OTHER", "catch_all": True, "notes": "torn gasket and a puddle"}
    tables = study([*coded(90), {"call": "OTHERS", **other}])
    told = of(tables, "OTHERS")
    assert (told["kind"], told["suggested_class"]) == ("unknown cause", "gasket")
    assert told["recorded_cause"] == "OTHER"
    assert overall(tables)["calls"] == 90


def test_a_coded_call_whose_notes_say_otherwise_is_listed(study, coded):
    """The same note under another class is for a second look; those that agree are not."""
    wrong = {"cause": "IGNITER", "cause_class": "gas", "notes": "torn gasket and a puddle"}
    tables = study([*coded(90), {"call": "WRONG", **wrong}])
    told = of(tables, "WRONG")
    assert told["kind"] == "notes say otherwise"
    assert (told["recorded_class"], told["suggested_class"]) == ("gas", "gasket")
    assert told["probability"] >= 0.8
    assert told["recorded_probability"] <= 0.1
    assert tables.suggestions["call"].to_list() == ["WRONG"]


def test_a_part_alone_does_not_make_notes_say_otherwise(study, coded):
    """A second look needs words; a part that is unusual for the class is not enough."""
    parts = {"scale": "heater", "gasket": "gasket", "gas": "igniter"}
    rows = [row | {"part": parts[row["cause_class"]]} for row in coded(90)]
    silent = {"cause": "IGNITER", "cause_class": "gas", "part": "gasket"}
    assert of(study([*rows, {"call": "SILENT", **silent}]), "SILENT") is None
    free = of(study([*rows, {"call": "FREE", "part": "Gasket "}]), "FREE")
    assert free["suggested_class"] == "gasket"
    assert free["words"][0].startswith("part gasket +")


def test_with_few_coded_calls_only_phrases_suggest(study, coded):
    """Below the least number there is no model, no number and a note that says why."""
    rows = [*coded(LEAST_CODED - 1), {"call": "NEW", "notes": "white crust"}]
    tables = study(rows, ("white crust", "scale", 0.9))
    assert overall(tables)["note"] == (
        "Calls with a cause and with notes or a part: 29; a model needs 30 or more, so only "
        "phrases suggest anything."
    )
    assert overall(tables)["precision"] is None
    assert tables.reliability.is_empty()
    assert tables.confusion.is_empty()
    told = of(tables, "NEW")
    assert (told["source"], told["suggested_class"], told["probability"]) == (
        "phrases",
        "scale",
        None,
    )
    assert told["words"] == ["“white crust” of weight 0.9"]
    assert "unmeasured" in told["note"]
    assert study(rows).suggestions.is_empty()
    assert overall(study([*coded(LEAST_CODED)]))["precision"] is not None


def test_one_class_alone_teaches_nothing(study, coded):
    """With a single class, or none, nothing is learned and nothing fails."""
    tables = study(coded(60, ("scale",)))
    assert "Classes with 5 calls or more: 1; a model needs two" in overall(tables)["note"]
    assert tables.suggestions.is_empty()
    assert overall(study([]))["calls"] == 0


def test_phrases_alone_are_right_as_often_as_they_were(study, coded):
    """With ten booked calls or more under its phrases the share right is told (Jeffreys)."""
    rows = [row | {"notes": "odd rattle"} for row in coded(20, ("scale",))]
    rows[3]["cause_class"] = "gas"
    tables = study([*rows, {"call": "NEW", "notes": "odd rattle"}], ("odd rattle", "scale", 1.0))
    told = of(tables, "NEW")
    assert told["probability"] == pytest.approx((19 + 0.5) / 21, abs=1e-4)
    assert told["note"] == "20 booked calls with such phrases tell how often they are right."
    assert (overall(tables)["phrase_calls"], overall(tables)["phrase_right"]) == (20, 19)


def test_phrases_that_weigh_the_same_point_nowhere(study):
    """Two classes with one weight suggest neither; the heavier one is taken."""
    new = [{"call": "NEW", "notes": "lime on the gasket"}]
    assert of(study(new, ("lime", "scale", 0.7), ("gasket", "gasket", 0.7)), "NEW") is None
    told = of(study(new, ("lime", "scale", 0.7), ("gasket", "gasket", 0.8)), "NEW")
    assert told["suggested_class"] == "gasket"


def test_phrases_that_disagree_with_the_model_are_told(study, coded):
    """The model's class is suggested, and the note names the class of the phrases."""
    rows = [*coded(90), {"call": "NEW", "notes": "igniter gives no spark at the valve"}]
    told = of(study(rows, ("at the valve", "wear", 1.0)), "NEW")
    assert (told["suggested_class"], told["source"]) == ("gas", "model")
    assert told["note"] == "Its phrases point to wear."


def test_a_class_of_few_calls_is_never_suggested_but_counted_as_missed(study, coded):
    """Its calls are held out like all others, and the table says why it is never right."""
    few = {"cause": "LAMP", "cause_class": "wear", "notes": "lamp in the cavity dark"}
    tables = study([*coded(90), *({**few} for _ in range(LEAST_OF_CLASS - 1))])
    row = tables.quality.row(by_predicate=pl.col("cause_class") == "wear", named=True)
    assert (row["calls"], row["suggested"], row["right"]) == (4, 0, 0)
    assert row["precision"] is None
    assert row["recall"] == 0
    assert "Fewer than 5 calls are booked so" in row["note"]
    assert overall(tables)["calls"] == 94
    assert tables.suggestions.filter(recorded_class="wear").is_empty()
    assert tables.confusion["calls"].sum() == 94


def test_a_call_without_words_or_part_is_not_judged(study, coded):
    """Start-up readings alone suggest nothing; neither do empty notes."""
    rows = [row | {"readings": ["level"]} for row in coded(90)]
    tables = study([*rows, {"call": "MUTE", "readings": ["level"]}, {"call": "VOID", "notes": " "}])
    assert of(tables, "MUTE") is None
    assert of(tables, "VOID") is None


def test_no_call_judges_itself(calls_of, coded, phrases_of):
    """The model that judges a call is the same, whatever that call is booked as."""
    calls = calls_of(coded(90))
    tokens = tokens_of(calls["notes"])
    hits = phrases_in(tokens, phrases_of())
    matrix = features_of(calls, tokens, hits).matrix
    fold, every = fold_of(calls["site"]), np.ones(90, dtype=bool)
    label = np.arange(90) % 3
    before = train(matrix, label, fold, every, 3)
    changed = label.copy()
    changed[7] = (changed[7] + 1) % 3
    after = train(matrix, changed, fold, every, 3)
    assert len(before.weights) > 2
    for judge in range(len(before.weights)):
        one, other = before.weights[judge].ravel(), after.weights[judge].ravel()
        alike = one @ other / np.sqrt((one @ one) * (other @ other))
        # But for its temperature, which is one number of all the other folds.
        assert (abs(alike - 1) < 1e-12) == (judge == fold[7])


def test_how_usual_a_class_is_suggests_nothing(study, coded):
    """Where the same words stand in every class, a call gets no suggestion, however many it has."""
    rows = [{"cause": "X", "cause_class": "scale", "notes": "same old words"} for _ in range(80)]
    rows += [row | {"notes": "same old words"} for row in coded(20, ("gas",))]
    assert of(study([*rows, {"call": "NEW", "notes": "same old words"}]), "NEW") is None
