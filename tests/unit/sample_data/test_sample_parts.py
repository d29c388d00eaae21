"""The parts of the sample's generator: draws, days, serials, waters and the scale workspace."""

import importlib.util
from pathlib import Path

import numpy as np
import polars as pl
import pytest
from dateutil.relativedelta import relativedelta

from sample_data.columns import decimals, money, numbered, serials
from sample_data.days import NONE, add_months, day, known_by, to_dates
from sample_data.documents import unit_serials
from sample_data.draws import Draws
from sample_data.editions import ABILITIES, FAMILIES, editions, reference, waters
from sample_data.population import draw_sites, draw_units
from sample_data.treatment import draw_treatment

BENCHMARK = Path(__file__).parents[2] / "benchmarks" / "make_workspace.py"


@pytest.fixture(scope="module")
def people():
    """Six thousand units of another seed, large enough for means."""
    sites = draw_sites(4_000, 9)
    units = draw_units(6_000, sites, 9)
    return sites, units, draw_treatment(units, 9)


def test_streams_do_not_depend_on_each_other():
    """A purpose has a stream of its own, and the same one each time."""
    assert (Draws(1, "a").uniform(5) == Draws(1, "a").uniform(5)).all()
    assert (Draws(1, "a").uniform(5) != Draws(1, "b").uniform(5)).all()


def test_draws_have_their_moments():
    """Normal, exponential, whole numbers and picks have the means that they should."""
    draws = Draws(3, "moments")
    normal = draws.normal(40_000)
    assert abs(normal.mean()) < 0.02
    assert abs(normal.std() - 1) < 0.02
    assert abs(draws.exponential(40_000).mean() - 1) < 0.02
    whole = draws.whole(2, 5, 40_000)
    assert set(whole) == {2, 3, 4, 5}
    assert abs(whole.mean() - 3.5) < 0.03
    assert abs((draws.pick([1, 3], 40_000) == 1).mean() - 0.75) < 0.02


def test_months_are_added_as_the_calendar_does():
    """Month steps agree with python-dateutil for every day of four years and several steps."""
    days = np.arange(day("2023-01-01"), day("2027-01-01"))
    dates = to_dates("d", days).to_list()
    for months in (1, 6, 11, 12, 18, 27):
        expected = [date + relativedelta(months=months) for date in dates]
        assert to_dates("d", add_months(days, months)).to_list() == expected


def test_days_after_the_limit_are_not_known():
    """`known_by` blanks later days and keeps the unknown unknown."""
    assert known_by(np.array([5, 6, NONE]), 5).tolist() == [5, NONE, NONE]


def test_serials_are_unique_and_one_slip_gives_no_other():
    """No change of one digit or letter in a serial gives the serial of another unit."""
    count = 3_000
    made = serials(np.zeros(count, dtype=int), np.full(count, day("2024-05-05"))).to_list()
    every = set(made)
    assert len(every) == count
    for serial in made[:40]:
        slips = {
            serial[:i] + other + serial[i + 1 :]
            for i, old in enumerate(serial)
            for other in "0123456789ABCDEFGHJKLMNPRSTUVWXYZ"
            if other != old
        }
        assert not slips & every


def test_numbers_are_written_exactly():
    """Money, decimals and numbers come as text, null where not known."""
    assert money(np.array([1234.5, np.nan, 0.005])).to_list() == ["1234.50", None, "0.00"]
    assert decimals(np.array([425, -5, 7]), 1).to_list() == ["42.5", "-0.5", "0.7"]
    assert numbered("K-", np.array([7, NONE]), 3).to_list() == ["K-007", None]


def test_waters_follow_the_published_pattern(people):
    """Median hardness falls in the published class of each kind of region.

    Source: U.S. Geological Survey, Water Science School, "Hardness of Water": soft to 60 in New
    England, the South Atlantic and the Pacific Northwest, very hard (above 180) in parts of the
    Southwest and the Plains; mg/L as CaCO3.
    """
    sites, _, _ = people
    frame = pl.DataFrame(
        {
            "region": waters()["region"].gather(sites.region),
            "hardness": sites.water["hardness_mg_l_caco3"],
        }
    )
    median = dict(frame.group_by("region").agg(pl.col("hardness").median()).iter_rows())
    assert all(median[r] <= 60 for r in ("US-ME", "US-MA", "US-SC", "US-GA", "US-OR", "US-WA"))
    assert all(60 < median[r] <= 120 for r in ("US-TN", "US-MI"))
    assert all(median[r] > 180 for r in ("US-AZ", "US-IA", "US-SD"))


def test_waters_do_not_contradict_themselves(people):
    """Calcium is part of hardness, free chlorine of total, and anions balance the metals."""
    water = people[0].water
    assert (water["calcium_mg_l_caco3"] < water["hardness_mg_l_caco3"]).all()
    assert (water["free_chlorine_mg_l"] <= water["total_chlorine_mg_l"]).all()
    anions = (
        water["alkalinity_mg_l_caco3"] / 50.04
        + water["chloride_mg_l"] / 35.45
        + water["sulfate_mg_l"] / 48.03
    )
    assert (anions > water["hardness_mg_l_caco3"] / 50.04).all()


def test_every_ability_and_cause_has_its_place():
    """Systems have every ability that terms ask for, and every cause has a price and hours."""
    systems = reference("treatments").filter(pl.col("kind") == "system")
    able = set(" ".join(systems["removes"]).split())
    assert able == set(ABILITIES)
    limits = [limit for per in editions().limits for cell in per for limit in cell.values()]
    assert {limit["needs"] for limit in limits} <= able
    osmosis = systems.filter(pl.col("rated_output_l_per_h").is_not_null())
    assert not osmosis["removes"].str.contains("chloramine").any()
    assert set(reference("models")["family"]) == set(FAMILIES)


def test_needs_are_what_lies_outside_the_limits(people):
    """A unit needs scale control exactly where its site's hardness is above the edition's limit."""
    sites, units, _ = people
    limits = editions().limits
    most = np.array([[cell["hardness_mg_l_caco3"]["max"] for cell in row] for row in limits])
    hard = sites.water["hardness_mg_l_caco3"][units.site] > most[units.edition, units.family]
    assert (units.needs[:, ABILITIES.index("scale")] == hard).all()


def test_units_filled_by_hand_have_no_treatment(people):
    """Skerry gets no treatment; nothing is ordered after it is fitted."""
    _, units, treatment = people
    assert (units.family[treatment.system_unit] != FAMILIES.index("Skerry")).all()
    fitted = treatment.system_installed != NONE
    assert (treatment.system_ordered < treatment.system_installed)[fitted].all()
    assert unit_serials(units).is_unique().all()


def test_scale_workspace_keeps_its_ratios(tmp_path):
    """The benchmark's generator gives about four calls and 0.4 claims to a unit."""
    spec = importlib.util.spec_from_file_location("make_workspace", BENCHMARK)
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    rows = module.make_workspace(tmp_path / "ws", 5_000)
    assert rows["units"] == 5_000
    assert abs(rows["service_calls"] / 5_000 - 4) < 0.25
    (calls,) = (tmp_path / "ws/exports/service_calls").iterdir()
    table = pl.read_csv(calls, infer_schema=False)
    assert abs(table["claim"].count() / 5_000 - 0.4) < 0.04
    assert not (tmp_path / "ws/mappings").exists()
