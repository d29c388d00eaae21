"""What letters about units say of cover holds by the terms, and needs are named in words."""

import pytest

from pipelines.startups.unit_letters import installation_letters
from tests.unit.coverage import bench
from tests.unit.startups.startup_bench import INSTALL, ORDER, REPORT, TERMS, TEST, tables
from tests.unit.startups.test_unit_letters import AGENCIES, recommendation_letter

GIVEN = {"startups": [REPORT], "water_tests": [TEST]}
USED = ORDER | {"product": "CHL"}
LATE = "2024-12-31"
# What is bought, the condition by which its state ends cover, and what the letter asks without it.
STATES = {
    "overdue": ([], "treatment_bought_new", "Have it bought new from MAKER and installed"),
    "unsuitable": ([USED], "treatment_suits_water", "Have it bought new from MAKER and installed"),
    "bought": ([ORDER], "treatment_installed", "install it now and report it."),
}


def asks(tmp_path, text: str, state: str, as_of: str = LATE, **given) -> str:
    """What the letter of a unit in that state asks."""
    made = tables(tmp_path, as_of=as_of, text=text, **GIVEN, **given)
    assert made["treatment_recommendations"]["state"].to_list() == [state]
    return recommendation_letter(tmp_path, made, REPORT, text)["asks"]


@pytest.mark.parametrize("state", STATES)
def test_a_condition_that_is_left_out_ends_no_cover(tmp_path, state):
    """Of cover nothing is said where the terms leave the condition out, and else that it ended."""
    orders, condition, plain = STATES[state]
    given = {"treatment_purchases": orders}
    assert "not covered" in asks(tmp_path, TERMS, state, **given)
    off = bench.changed(TERMS, conditions_off=f'["{condition}"]')
    said = asks(tmp_path, off, state, **given)
    assert plain in said
    assert "covered" not in said


def test_a_lapse_ends_no_cover_within_the_grace_or_where_it_is_left_out(tmp_path):
    """Installed long before the test, a lapsed system may be mended up to the end of the grace."""
    early = {
        "treatment_purchases": [ORDER | {"ordered_on": "2023-02-01"}],
        "service_calls": [INSTALL | {"completed_on": "2023-02-02", "opened_on": "2023-02-02"}],
    }
    for text, later in (
        (TERMS, "the terms forgive no lapse: by what is on file, later ones are not."),
        (
            bench.changed(TERMS, look_back_months="1"),
            "after it only 1 month after the lapse has ended.",
        ),
    ):
        said = asks(tmp_path, text, "lapsed", as_of="2024-03-10", **early)
        assert said.endswith(f"are covered all the same up to 2024-03-10; {later}")
    said = asks(tmp_path, TERMS, "lapsed", as_of="2024-03-11", **early)
    assert said.endswith("are no longer covered.")
    off = bench.changed(TERMS, conditions_off='["treatment_maintained"]')
    assert "cover" not in asks(tmp_path, off, "lapsed", **early)


def test_an_unsound_installation_ends_cover_by_condition_14_alone(tmp_path):
    """Where it is left out, neither the letter nor what is coming up says so."""
    off = bench.changed(TERMS, conditions_off='["installation_sound"]')
    report = REPORT | {"level": "no"}
    for text, covers, stake in (
        (TERMS, True, "cover of failures that the installation brings about (condition 14)"),
        (off, False, "sound running alone (the terms leave condition 14 out)"),
    ):
        made = tables(tmp_path, text=text, startups=[report])
        [letter] = installation_letters(
            made["startup_reviews"],
            made["installation_findings"],
            AGENCIES,
            bench.terms_of(tmp_path / "terms", text).values,
        ).to_dicts()
        assert ("not covered" in letter["opening"]) == covers
        [fault] = made["installation_faults"].to_dicts()
        assert fault["at_stake"].startswith(f"{stake}; unsound is the standing level")


def test_needs_are_named_in_words(tmp_path):
    """Neither a key of the terms nor one of the reference files stands in a letter."""
    books = {"treatments": [{"product": "SOFT", "kind": "system", "removes": "scale"}]}
    sour = TEST | {"ph": "9.5", "hardness_mg_l_caco3": "50"}
    water = {"startups": [REPORT], "water_tests": [sour]}
    made = tables(tmp_path, as_of="2024-03-01", references=books, **water)
    [row] = made["treatment_recommendations"].to_dicts()
    assert row["needs"] == "ph"
    calls = "Sample L1 of 2024-02-01 calls for treatment against pH"
    assert row["sentence"].startswith(f"{calls}; no treatment on the list removes pH:")
    letter = recommendation_letter(tmp_path, made, REPORT, test=sour, **books)
    assert letter["opening"] == f"{calls}."
    assert letter["asks"] == "No treatment on the list removes pH; a person will write what would."
