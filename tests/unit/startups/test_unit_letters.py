"""What has to be told of units, and the register brought up to it."""

import datetime as dt

import polars as pl

from pipelines.letters.matters import SCHEMA
from pipelines.letters.register import due
from pipelines.startups.standing_units import (
    no_longer_told,
    standing_installations,
    standing_recommendations,
    unmended,
)
from pipelines.startups.unit_letters import installation_letters, recommendation_letters
from tests.unit.coverage import bench
from tests.unit.startups.startup_bench import INSTALL, ORDER, REPORT, TERMS, TEST, UNIT, tables

DAY = dt.date
AGENCIES = bench.reference("agencies", bench.REFERENCE_ROWS["agencies"])
# Edition and family of the bench, with nothing left out.
VALUES = pl.DataFrame(
    {"edition": ["T1"], "family": ["F"], "conditions_off": [[]]},
    schema_overrides={"conditions_off": pl.List(pl.String)},
)
UNSOUND = REPORT | {"level": "no", "flowing_pressure_psi": "99", "gas": "natural",
                    "gas_pressure_in_wc": "2"}  # fmt: skip


def standing(tmp_path, **given) -> pl.DataFrame:
    """What stands of the unit's installation."""
    made = tables(tmp_path, **given)
    return standing_installations(made["startup_reviews"], made["installation_findings"], AGENCIES)


def advised(tmp_path, **given) -> pl.DataFrame:
    """What stands of the unit's water."""
    made = tables(tmp_path, **given)
    startups = bench.records("startups", given.get("startups", []))
    return standing_recommendations(made["treatment_recommendations"], startups, AGENCIES)


def recommendation_letter(
    tmp_path, made: dict[str, pl.DataFrame], report: dict, text=TERMS, test=TEST, **books
) -> dict:
    """The values of the one letter about the unit's water."""
    evidence = bench.evidence_of(startups=[report], water_tests=[test], references=books)
    terms = bench.terms_of(tmp_path / "terms", text)
    [letter] = recommendation_letters(
        made["treatment_recommendations"],
        evidence.startups,
        evidence.water_tests,
        evidence.regions,
        AGENCIES,
        terms.water_limits,
        terms.values,
    ).to_dicts()
    return letter


def entries(register: pl.DataFrame, now: pl.DataFrame, day: dt.date) -> pl.DataFrame:
    """The register after a look at what stands."""
    found = due(register, now, day, dt.datetime(2024, 6, 1), since=DAY(2024, 1, 1))
    return found.applied(register)


def test_a_reading_that_a_later_report_leaves_out_is_not_mended(tmp_path):
    """Only a later sound finding mends; the latest report names the agency."""
    later = REPORT | {"report": "R2", "completed_on": "2024-03-01", "level": None,
                      "flowing_pressure_psi": "50", "agency": "EAST"}  # fmt: skip
    made = tables(tmp_path, startups=[UNSOUND, later])
    open_still = unmended(made["startup_reviews"], made["installation_findings"])
    assert open_still["reading"].to_list() == ["gas_pressure_in_wc", "level"]
    [row] = standing(tmp_path, startups=[UNSOUND, later]).to_dicts()
    assert (row["kind"], row["agency"], row["report"]) == ("installation", "EAST", "R2")
    assert not row["closes"]
    # The same readings still open: the same basis, whatever else is reported.
    again = later | {"report": "R3", "completed_on": "2024-04-01"}
    assert standing(tmp_path, startups=[UNSOUND, later, again])["basis"][0] == row["basis"]
    assert standing(tmp_path, startups=[UNSOUND])["basis"][0] != row["basis"]


def test_the_register_tells_an_unsound_installation_once_and_closes_it_when_mended(tmp_path):
    """To send, sent, closed; a fault that goes before it was told is overtaken."""
    first = standing(tmp_path, startups=[UNSOUND])
    register = entries(SCHEMA.to_frame(), first, DAY(2024, 2, 2))
    assert register.select("kind", "serial", "state").rows() == [("installation", "U1", "to_send")]
    assert entries(register, first, DAY(2024, 2, 3)).equals(register)
    sound = REPORT | {"report": "R2", "completed_on": "2024-03-01", "gas": "natural",
                      "gas_pressure_in_wc": "5"}  # fmt: skip
    mended = standing(tmp_path, startups=[UNSOUND, sound])
    assert mended.select("basis", "closes").rows() == [(None, True)]
    assert entries(register, mended, DAY(2024, 3, 2))["state"].to_list() == ["overtaken"]
    sent = register.with_columns(state=pl.lit("sent"))
    assert entries(sent, mended, DAY(2024, 3, 2))["state"].to_list() == ["closed"]


def test_a_recommendation_is_told_while_something_is_to_be_done(tmp_path):
    """Open to overdue is no news; kept up closes; without a start-up there is no address."""
    given = {"water_tests": [TEST], "startups": [REPORT]}
    first = advised(tmp_path, as_of="2024-03-01", **given)
    late = advised(tmp_path, as_of="2024-12-01", **given)
    assert first.select("kind", "agency", "sample").row(0) == ("recommendation", "NORTH", "L1")
    assert first["basis"][0] == late["basis"][0] is not None
    kept = advised(
        tmp_path,
        as_of="2024-03-01",
        treatment_purchases=[ORDER],
        service_calls=[INSTALL],
        **given,
    )
    assert kept.select("basis", "closes").rows() == [(None, True)]
    assert advised(tmp_path, water_tests=[TEST]).select("agency", "email").rows() == [(None, None)]
    assert advised(tmp_path, startups=[REPORT]).is_empty()
    harder = TEST | {"sample": "L2", "sampled_on": "2024-05-01", "chloride_mg_l": "90"}
    other = advised(tmp_path, water_tests=[TEST, harder], startups=[REPORT])
    assert other["basis"][0] != first["basis"][0]


def test_what_is_no_longer_told_is_not_sent_any_more(tmp_path):
    """Without cover or a test a letter to send is overtaken and one that went out stays; without
    a start-up nothing is unsound; of a unit that is not on file nothing is known."""
    given = {"water_tests": [TEST], "startups": [UNSOUND]}
    first = pl.concat([standing(tmp_path, **given), advised(tmp_path, **given)])
    register = entries(SCHEMA.to_frame(), first, DAY(2024, 12, 31))
    assert register["state"].to_list() == ["to_send", "to_send"]

    def after(before: pl.DataFrame, told: pl.DataFrame, on_file=("U1",)) -> dict[str, str]:
        now = no_longer_told(told, before, pl.Series(on_file, dtype=pl.String))
        later = entries(before, pl.concat([told, now]), DAY(2025, 1, 1))
        return dict(later.select("kind", "state").iter_rows())

    ended = pl.concat([standing(tmp_path, **given), advised(tmp_path, cover="2024-12-31", **given)])
    assert after(register, ended) == {"installation": "to_send", "recommendation": "overtaken"}
    sent = register.with_columns(state=pl.lit("sent"))
    assert after(sent, ended) == {"installation": "sent", "recommendation": "sent"}
    nothing = first.clear()
    assert after(register, nothing) == {"installation": "overtaken", "recommendation": "overtaken"}
    assert after(sent, nothing) == {"installation": "closed", "recommendation": "sent"}
    gone = {"installation": "to_send", "recommendation": "to_send"}
    assert after(register, nothing, on_file=()) == gone


def test_the_letters_say_what_was_found_and_what_is_called_for(tmp_path):
    """Each reading, the water against its limits, by when from whom, and the cautions."""
    made = tables(tmp_path, as_of="2024-03-01", startups=[UNSOUND], water_tests=[TEST])
    [letter] = installation_letters(
        made["startup_reviews"], made["installation_findings"], AGENCIES, VALUES
    ).to_dicts()
    assert letter["opening"].endswith("Failures that it brings about are not covered.")
    assert len(letter["readings"]) == len(letter["mends"]) == 3
    assert letter["readings"][0].startswith("Start-up of 2024-02-01, report R1: The flowing water")
    assert letter["readings"][2].endswith("The standing level is reported as no.")
    assert letter["mends"][2] == "level the unit front to back and side to side"
    assert any("licensed" in caution for caution in letter["cautions"])
    assert letter["agency_name"] == "North Service"
    letter = recommendation_letter(tmp_path, made, UNSOUND)
    assert letter["outside"] == ["hardness 150 mg/L is above 100"]
    assert letter["recommended"] == "SOFT"
    assert "bought new from MAKER and installed by 2024-03-10" in letter["asks"]
    assert letter["tank"] is None
    assert letter["cautions"]


def letter_as_of(tmp_path, as_of: str, **given) -> tuple[str, str]:
    """What the unit's recommendation says in a sentence, and what its letter asks."""
    made = tables(tmp_path, as_of=as_of, startups=[REPORT], water_tests=[TEST], **given)
    letter = recommendation_letter(tmp_path, made, REPORT)
    return made["treatment_recommendations"]["sentence"][0], letter["asks"]


def test_nobody_is_asked_to_install_by_a_day_that_is_past(tmp_path):
    """Installed by the last day; a day later it was due, and is asked for now."""
    used = ORDER | {"ordered_on": "2024-02-20"}
    for given in ({}, {"treatment_purchases": [used]}):
        _, asks = letter_as_of(tmp_path, "2024-03-10", **given)
        assert "nstall" in asks
        assert "now" not in asks
        _, asks = letter_as_of(tmp_path, "2024-03-11", **given)
        assert "nstall it now" in asks
        assert "installed by 2024-03-10" in asks
        assert "not covered" in asks
    bought = {"treatment_purchases": [used]}
    sentence, _ = letter_as_of(tmp_path, "2024-03-10", **bought)
    assert sentence.endswith("on file: install it by 2024-03-10, and report it.")
    sentence, _ = letter_as_of(tmp_path, "2024-03-11", **bought)
    assert sentence.endswith("install it now, as it was due by 2024-03-10, and report it.")


def test_letters_of_units_carry_the_cautions_of_their_matter(tmp_path):
    """Steam, pressure and electricity always; gas, plumbing and acids where the matter has them."""
    tilted = tables(tmp_path, startups=[REPORT | {"level": "no"}])
    [level] = installation_letters(
        tilted["startup_reviews"], tilted["installation_findings"], AGENCIES, VALUES
    )["cautions"]
    made = tables(tmp_path, as_of="2024-03-01", startups=[UNSOUND], water_tests=[TEST])
    [gas] = installation_letters(
        made["startup_reviews"], made["installation_findings"], AGENCIES, VALUES
    )["cautions"]
    scale = recommendation_letter(tmp_path, made, UNSOUND)["cautions"]
    salty = TEST | {"hardness_mg_l_caco3": "50", "chloride_mg_l": "60"}
    made = tables(tmp_path, as_of="2024-03-01", startups=[REPORT], water_tests=[salty])
    chloride = recommendation_letter(tmp_path, made, REPORT, test=salty)["cautions"]
    for cautions in (level, gas, scale, chloride):
        told = " ".join(cautions)
        assert "free of pressure before it is opened" in told
        assert "locked out before a panel is opened" in told
        assert "licensed" in told
        assert "local" in told
        assert "manual goes first" in told
        assert len(set(cautions)) == len(cautions)
    assert "joints are tested for leaks" in " ".join(gas)
    assert "joints are tested for leaks" not in " ".join(level)
    for cautions in (gas, scale, chloride):
        assert "backflow" in " ".join(cautions)
    assert "chlorine cleaners" in " ".join(scale)
    assert "chlorine cleaners" not in " ".join(chloride)


def test_a_lapse_letter_promises_no_cover_that_the_terms_do_not_give(tmp_path):
    """Changing a cartridge forgives no lapse; look_back_months does, so the letter says."""
    given = {"startups": [REPORT], "water_tests": [TEST], "treatment_purchases": [ORDER],
             "service_calls": [INSTALL]}  # fmt: skip
    for text, said in (
        (TERMS, "The terms forgive no lapse"),
        (bench.changed(TERMS, look_back_months="9"), "covered again 9 months after the lapse"),
    ):
        made = tables(tmp_path, text=text, **given)
        assert made["treatment_recommendations"]["state"].to_list() == ["lapsed"]
        asks = recommendation_letter(tmp_path, made, REPORT, text)["asks"]
        assert "change them now and report it" in asks
        assert said in asks
        assert "until then" not in asks


def test_a_model_that_is_always_treated_is_not_told_that_its_water_is_bad(tmp_path):
    """Within the limits nothing calls for treatment but the model."""
    soft = TEST | {"hardness_mg_l_caco3": "100"}
    units = [UNIT | {"model": "ALW"}]
    made = tables(tmp_path, as_of="2024-03-01", startups=[REPORT], water_tests=[soft], units=units)
    letter = recommendation_letter(tmp_path, made, REPORT, test=soft)
    assert letter["opening"] == (
        "Sample L1 of 2024-02-01 is within its limits; model ALW is always to be treated against "
        "scale."
    )
    assert letter["outside"] == []
    made = tables(tmp_path, as_of="2024-03-01", startups=[REPORT], water_tests=[TEST], units=units)
    letter = recommendation_letter(tmp_path, made, REPORT)
    assert letter["opening"] == "Sample L1 of 2024-02-01 calls for treatment against scale."


def test_a_membrane_that_no_tank_keeps_serving_is_told_in_the_letter(tmp_path):
    """At 8 °C one rated 10 L/h at 25 °C makes 130 L a day; one rated 5 makes less than the 80 L
    that are drawn. Without the coldest supply none is sized."""

    def tank(rated: str, region: str | None, *more: dict[str, str]) -> str | None:
        books = {
            "treatments": [{"product": "RO", "kind": "system", "removes": "scale chloride",
                            "rated_output_l_per_h": rated, "rated_temperature_c": "25"}, *more],
            "models": [{"model": "GEN", "family": "F", "needs_treatment": "yes",
                        "always_treat": "no", "delime_by": "owner", "feed_l_per_h": "8"}],
        }  # fmt: skip
        given = {"startups": [REPORT], "water_tests": [TEST], "references": books}
        units = [UNIT | {"region": region}]
        made = tables(tmp_path, as_of="2024-03-01", units=units, **given)
        return recommendation_letter(tmp_path, made, REPORT, **books)["tank"]

    assert tank("10", "US-NM") == "Behind the membrane: a tank of 60 L, sized for a supply of 8 °C."
    assert tank("5", "US-NM") == (
        "No tank on sale is known to keep its membrane serving at a supply of 8 °C; ask before it "
        "is bought."
    )
    assert tank("10", None) == (
        "No tank on sale is known to keep its membrane serving: the coldest supply is not on file; "
        "ask before it is bought."
    )
    # A larger one that is next in order would serve, and so would a softener.
    larger = {"product": "RO-L", "kind": "system", "removes": "scale chloride tds",
              "rated_output_l_per_h": "10", "rated_temperature_c": "25"}  # fmt: skip
    assert tank("5", "US-NM", larger).endswith("8 °C; RO-L with a tank of 60 L would serve.")
    assert tank("5", None, larger).endswith("not on file; ask before it is bought.")
    softener = {"product": "SALT", "kind": "system", "removes": "scale chloride tds"}
    assert tank("5", None, softener).endswith("not on file; SALT would serve.")


def test_nobody_is_asked_to_buy_what_nothing_on_the_list_does(tmp_path):
    """A membrane alone claims chloramine: a person will write, whatever was bought before."""
    books = {
        "treatments": [
            {"product": "SOFT", "kind": "system", "removes": "scale"},
            {"product": "RO", "kind": "system", "removes": "scale chloramine",
             "rated_output_l_per_h": "10", "rated_temperature_c": "25"},
        ]
    }  # fmt: skip
    water = TEST | {"hardness_mg_l_caco3": "50", "total_chlorine_mg_l": "1",
                    "free_chlorine_mg_l": "0.2"}  # fmt: skip
    for orders, state in (([], "nothing_serves"), ([ORDER], "unsuitable")):
        made = tables(tmp_path, as_of="2024-03-01", startups=[REPORT], water_tests=[water],
                      treatment_purchases=orders, references=books)  # fmt: skip
        [row] = made["treatment_recommendations"].to_dicts()
        assert (row["state"], row["recommended"], row["unmet"]) == (state, None, ["chloramine"])
        assert row["sentence"].endswith(
            "no treatment on the list removes chloramine: a person must say what would."
        )
        letter = recommendation_letter(tmp_path, made, REPORT, test=water, **books)
        assert letter["asks"] == (
            "No treatment on the list removes chloramine; a person will write what would."
        )
