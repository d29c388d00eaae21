"""Laws that the water chemistry and the profiles obey for any water."""

from datetime import date

import numpy as np
import polars as pl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pipelines.water.calcite import closed_potential, saturation_index
from pipelines.water.constants import constants_at
from pipelines.water.equilibrium import BLOCK, Analyses, balanced_water, equilibria
from pipelines.water.indices import larson_skold
from pipelines.water.membrane import hourly_demand, least_output_l_per_h, tanks_against_duty
from pipelines.water.profiles import water_figures
from pipelines.water.speciation import at_measured_ph, heated_closed
from pipelines.water.species import Water, ratios_at
from pipelines.water.treatment import combinations
from schemas import codes
from schemas.columns import polars_schema
from schemas.feeds import WaterTests
from schemas.reference import Treatments

AMOUNTS = st.floats(1.0, 400.0)
WATERS = st.fixed_dictionaries(
    {
        "temperature_c": st.floats(2.0, 35.0),
        "ph": st.floats(6.0, 9.5),
        "calcium_mg_l_caco3": AMOUNTS,
        "magnesium_mg_l_caco3": AMOUNTS,
        "alkalinity_mg_l_caco3": st.floats(20.0, 400.0),
        "chloride_mg_l": AMOUNTS,
        "sulfate_mg_l": AMOUNTS,
        "silica_mg_l": st.floats(1.0, 80.0),
    }
)


def analyses(*waters: dict[str, float]) -> Analyses:
    """Waters as arrays."""
    return Analyses(**{name: np.array([water[name] for water in waters]) for name in waters[0]})


def totals(water: dict[str, float]) -> Water:
    """One water's totals."""
    return balanced_water({name: np.array([value]) for name, value in water.items()})


@settings(max_examples=60, deadline=None)
@given(st.floats(0.0, 1e4), st.floats(0.0, 1e4), st.floats(0.0, 1e3), st.floats(1.0, 1e3))
def test_more_chloride_never_lowers_larson_skold(chloride, more, sulfate, alkalinity) -> None:
    """The ratio grows with chloride."""
    pair = larson_skold(np.array([chloride, chloride + more]), np.full(2, sulfate), alkalinity)
    assert pair[1] >= pair[0]


@settings(max_examples=40, deadline=None)
@given(WATERS, st.floats(0.5, 300.0))
def test_adding_calcium_never_lowers_the_index(water, more) -> None:
    """At fixed alkalinity and pH, at the sample's own temperature of 25 °C."""
    water = water | {"temperature_c": 25.0}
    richer = water | {"calcium_mg_l_caco3": water["calcium_mg_l_caco3"] + more}
    index = equilibria(analyses(water, richer)).langelier_25c
    assert index[1] > index[0]


@settings(max_examples=40, deadline=None)
@given(WATERS)
def test_potential_is_zero_where_the_index_is_zero(water) -> None:
    """Sign and zero agree: once the potential has deposited, index and potential are both 0."""
    w, k = totals(water), constants_at(25.0)
    measured, carbon, _ = at_measured_ph(
        constants_at(water["temperature_c"]), w, np.array([water["ph"]])
    )
    state, _ = heated_closed(k, w, carbon, measured)
    potential, settled = closed_potential(k, w, carbon, state)
    assert settled.all()
    assert np.sign(potential) == np.sign(saturation_index(k, state))
    rest = Water(
        w.calcium - potential,
        w.magnesium,
        w.sodium,
        w.chloride,
        w.sulfate,
        w.silica,
        w.alkalinity - 2.0 * potential,
    )
    at_rest, _ = heated_closed(k, rest, carbon - potential, state)
    assert saturation_index(k, at_rest)[0] == pytest.approx(0.0, abs=1e-5)
    again, _ = closed_potential(k, rest, carbon - potential, at_rest)
    assert again[0] == pytest.approx(0.0, abs=1e-9)


@settings(max_examples=40, deadline=None)
@given(WATERS, st.sampled_from([25.0, 60.0, 100.0]))
def test_mass_balances_close(water, celsius) -> None:
    """Calcium, magnesium, sodium, sulfate, carbon, alkalinity and charge add up after heating."""
    w, k = totals(water), constants_at(celsius)
    measured, carbon, _ = at_measured_ph(
        constants_at(water["temperature_c"]), w, np.array([water["ph"]])
    )
    s, settled = heated_closed(k, w, carbon, measured)
    r = ratios_at(k, s.hydrogen, s.ionic_strength)
    c, ca, mg, na, so4 = s.carbonate, s.calcium, s.magnesium, s.sodium, s.sulfate
    pairs = ca * (r.ca_co3 + r.ca_hco3) + mg * (r.mg_co3 + r.mg_hco3) + na * (r.na_co3 + r.na_hco3)
    bicarbonate = r.bicarbonate + ca * r.ca_hco3 + mg * r.mg_hco3 + na * r.na_hco3
    carbonate = 1.0 + ca * r.ca_co3 + mg * r.mg_co3 + na * r.na_co3
    sums = {
        "calcium": (
            ca * (1 + r.ca_oh + so4 * r.ca_so4 + c * (r.ca_co3 + r.ca_hco3)),
            w.calcium,
        ),
        "magnesium": (
            mg * (1 + r.mg_oh + so4 * r.mg_so4 + c * (r.mg_co3 + r.mg_hco3)),
            w.magnesium,
        ),
        "sodium": (na * (1 + so4 * r.na_so4 + c * (r.na_co3 + r.na_hco3)), w.sodium),
        "sulfate": (
            so4 * (1 + r.bisulfate + ca * r.ca_so4 + mg * r.mg_so4 + na * r.na_so4),
            w.sulfate,
        ),
        "carbon": (c * (1 + r.bicarbonate + r.carbon_dioxide + pairs), carbon),
        "alkalinity": (
            c * (2 * carbonate + bicarbonate)
            + r.hydroxide
            - r.hydronium
            + ca * r.ca_oh
            + mg * r.mg_oh
            + w.silica * r.silicate
            - so4 * r.bisulfate,
            w.alkalinity,
        ),
        "charge": (
            2 * w.calcium + 2 * w.magnesium + w.sodium,
            w.alkalinity + w.chloride + 2 * w.sulfate,
        ),
    }
    assert settled.all()
    for name, (found, expected) in sums.items():
        assert found[0] == pytest.approx(expected[0], rel=1e-6, abs=1e-12), name


def test_a_water_does_not_depend_on_its_neighbors() -> None:
    """Shuffled, and across the edges of the blocks, every figure stays the same to the last bit."""
    random, count = np.random.default_rng(3), BLOCK + 37
    waters = Analyses(
        temperature_c=random.uniform(0.0, 40.0, count),
        ph=random.uniform(3.0, 12.0, count),
        calcium_mg_l_caco3=10 ** random.uniform(-1, 3, count),
        magnesium_mg_l_caco3=10 ** random.uniform(-1, 3, count),
        alkalinity_mg_l_caco3=10 ** random.uniform(0, 3, count),
        chloride_mg_l=10 ** random.uniform(0, 3.5, count),
        sulfate_mg_l=10 ** random.uniform(0, 3.5, count),
        silica_mg_l=10 ** random.uniform(0, 2, count),
    )
    order = random.permutation(count)
    shuffled = Analyses(
        **{name: getattr(waters, name)[order] for name in Analyses.__dataclass_fields__}
    )
    first, second = equilibria(waters), equilibria(shuffled)
    assert len(first.__dataclass_fields__) > 3
    for name in first.__dataclass_fields__:
        np.testing.assert_array_equal(getattr(first, name)[order], getattr(second, name), name)


ANY_VALUE = st.one_of(
    st.none(),
    st.floats(),
    st.floats(-10.0, 1000.0),
    st.sampled_from([0.0, 1e-300, 1e9, 14.0, 7.0]),
)


@settings(max_examples=80, deadline=None)
@given(
    st.lists(
        st.fixed_dictionaries(
            {
                **dict.fromkeys((*codes.ANALYTES, "temperature_c"), ANY_VALUE),
                **{f"{name}_below": ANY_VALUE for name in ("silica_mg_l", "hardness_mg_l_caco3")},
            }
        ),
        min_size=1,
        max_size=6,
    ),
    st.sampled_from([None, 0.7]),
)
def test_no_analysis_crashes_or_gives_a_silent_number(rows, share) -> None:
    """Whatever the values, figures are finite or null, and a null index has its reason."""
    schema = dict(polars_schema(WaterTests))
    schema |= {f"{name}_below": pl.Float64 for name in codes.ANALYTES}
    tests = pl.DataFrame(
        [{"sample": str(i), "sampled_on": date(2025, 1, 1), **row} for i, row in enumerate(rows)],
        schema=schema,
    )
    figures = water_figures(tests, calcium_share_of_hardness=share, conductivity_to_tds=0.65)
    numbers = figures.select(pl.selectors.float())
    assert numbers.select(pl.all().is_finite().fill_null(True).all()).row(0) == (
        (True,) * numbers.width
    )
    for row in figures.iter_rows(named=True):
        if row["langelier_25c"] is None:
            assert any("no saturation index" in text for text in row["doubts"] + row["assumed"])


@settings(max_examples=40, deadline=None)
@given(
    st.floats(1.0, 30.0),
    st.floats(0.5, 24.0),
    st.floats(0.1, 40.0),
    st.floats(1.0, 300.0),
)
def test_balance_by_the_hour_agrees_with_the_least_output(feed, duty, output, tank) -> None:
    """The hour-by-hour week serves exactly where the output reaches the least one."""
    demand = hourly_demand(feed, duty)
    least = least_output_l_per_h(demand, tank)
    if abs(output - least) > 1e-6:
        assert tanks_against_duty(output, demand, [tank])["serves"][0] == (output > least)


ABILITY_SETS = st.lists(st.sampled_from(codes.ABILITIES), unique=True, max_size=4)


@settings(max_examples=60, deadline=None)
@given(ABILITY_SETS, st.lists(ABILITY_SETS, max_size=7))
def test_choices_are_complete_where_any_is_and_never_redundant(needs, removes) -> None:
    """What the choices leave is what no product does; dropping a product leaves more."""
    catalog = pl.DataFrame(
        [{"product": f"P{i}", "kind": "system", "removes": r} for i, r in enumerate(removes)],
        schema=polars_schema(Treatments),
    )
    does = {f"P{i}": set(r) for i, r in enumerate(removes)}
    servable = set(needs) & set().union(*does.values())
    choices = combinations(needs, catalog)
    assert bool(choices) == bool(servable)
    for choice in choices:
        together = set().union(*(does[product] for product in choice.products))
        assert set(choice.unmet) == set(needs) - servable
        assert servable <= together
        for product in choice.products:
            rest = set().union(*(does[p] for p in choice.products if p != product))
            assert not servable <= rest
