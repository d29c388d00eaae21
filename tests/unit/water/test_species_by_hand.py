"""Balances of species from numbers that are easy to add up, where real waters hide single terms."""

from __future__ import annotations

from dataclasses import fields
from types import SimpleNamespace

import numpy as np
import polars as pl
import pytest

from pipelines.water.advice import _need_lines
from pipelines.water.constants import Constants
from pipelines.water.limits import _ratio_class
from pipelines.water.speciation import _ph_given
from pipelines.water.species import (
    Ratios,
    Speciation,
    Water,
    activity_coefficients,
    carbonate_weights,
    other_alkalinity,
    ratios_at,
)


def arrays(kind: type, **given: float) -> object:
    """One water, one element; what is not given is 0."""
    return kind(**{one.name: np.array([given.get(one.name, 0.0)]) for one in fields(kind)})


def ratios(seed: int) -> Ratios:
    """Ratios of all species as large as the ions themselves, so that no term is negligible."""
    random = np.random.default_rng(seed)
    return Ratios(**{one.name: random.uniform(0.5, 2.0, 1) for one in fields(Ratios)})


@pytest.mark.parametrize("seed", range(8))
def test_a_round_at_a_given_ph_balances_calcium_and_alkalinity(seed: int) -> None:
    """Free calcium and all its pairs are the calcium; all that is basic is the alkalinity."""
    random = np.random.default_rng(100 + seed)
    r = ratios(seed)
    s = arrays(
        Speciation,
        **{n: random.uniform(0.1, 1.0) for n in ("calcium", "magnesium", "sodium", "sulfate")},
    )
    w = arrays(Water, calcium=random.uniform(0.5, 2), silica=0.3, alkalinity=random.uniform(9, 12))
    carbonate, calcium, _ = _ph_given(r, s, w)
    own, bicarbonate, _ = carbonate_weights(r, s)
    pairs = calcium * carbonate * (r.ca_hco3 + r.ca_co3)
    held = calcium + calcium * r.ca_oh + calcium * s.sulfate * r.ca_so4 + pairs
    assert held == pytest.approx(w.calcium, rel=1e-12)
    other, _ = other_alkalinity(r, s, w, s.calcium)
    basic = carbonate * (2 * own + bicarbonate)
    basic += calcium * carbonate * (r.ca_hco3 + 2 * r.ca_co3) + other
    assert basic == pytest.approx(w.alkalinity, rel=1e-12)


def test_alkalinity_beside_carbonate_is_hydroxide_and_silicate_less_acid() -> None:
    """1 + 2 x 3 + 5 x 7 + 11 x 13 are 185 basic; 17 + 19 x 23 are 454 acid."""
    r = arrays(Ratios, hydroxide=1, ca_oh=3, mg_oh=7, silicate=13, hydronium=17, bisulfate=23)
    s = arrays(Speciation, magnesium=5, sulfate=19)
    told, slope = other_alkalinity(r, s, arrays(Water, silica=11), np.array([2.0]))
    assert (told.item(), slope.item()) == (185 - 454, -185 - 454)


def test_bound_carbonate_counts_with_magnesium_and_sodium() -> None:
    """Per free carbonate: 1 + 2 x 3 + 5 x 7 with its charge, 11 + 2 x 13 + 5 x 17 with one."""
    r = arrays(
        Ratios, mg_co3=3, na_co3=7, bicarbonate=11, mg_hco3=13, na_hco3=17, carbon_dioxide=19
    )
    s = arrays(Speciation, magnesium=2, sodium=5)
    assert [float(one.item()) for one in carbonate_weights(r, s)] == [42.0, 122.0, 19.0]


def test_ratios_at_no_ionic_strength_are_those_of_the_constants() -> None:
    """Activities are concentrations there: at a hydrogen of 2, silica is 1 : 3 : 1 of 0, 1, 2."""
    names = [one.name for one in fields(Constants)]
    given = {name: np.array([float(place)]) for place, name in enumerate(names, 2)}
    given |= {"silicic_1": np.array([6.0]), "silicic_2": np.array([4.0])}
    given |= {"carbonic_1": np.array([3.0]), "carbonic_2": np.array([4.0])}
    given |= {"water": np.array([2.0])}
    given["davies_a"] = np.array([0.5])
    k = SimpleNamespace(**given)
    r = ratios_at(k, np.array([2.0]), np.array([0.0]))
    assert r.silicic_share.item() == pytest.approx(1 / 5)
    assert r.silicate.item() == pytest.approx((3 + 2 * 1) / 5)
    assert r.bicarbonate.item() == pytest.approx(2.0 / 4.0)  # hydrogen / second constant
    assert r.carbon_dioxide.item() == pytest.approx(4.0 / (3.0 * 4.0))
    assert r.hydroxide.item() == pytest.approx(2.0 / 2.0)
    assert r.ca_oh.item() == pytest.approx(given["ca_oh"].item() / 2.0)
    assert r.ca_hco3.item() == pytest.approx(given["ca_hco3"].item() * 0.5)
    assert r.ca_co3.item() == given["ca_co3"].item()
    assert r.na_hco3.item() == pytest.approx(given["na_hco3"].item() * 0.5)
    assert r.bisulfate.item() == pytest.approx(given["bisulfate"].item() * 2.0)


def test_davies_coefficients_by_hand() -> None:
    """At 0.25 mol/kg and A of 0.5: -log10 is 0.5 (0.5 / 1.5 - 0.3 x 0.25), four times for two.

    Source: Davies 1962, with the linear term 0.3.
    """
    _, single, double = activity_coefficients(np.array([0.5]), np.array([0.25]))
    power = 0.5 * (1 / 3 - 0.075)
    assert single.item() == pytest.approx(10**-power)
    assert double.item() == pytest.approx(10 ** (-4 * power))


@pytest.mark.parametrize(
    ("needs", "always", "depends", "told"),
    [
        ([], False, True, ["The water is within its limits."]),
        ([], True, True, ["The water is within its limits, but M1 is always to be treated against "
                          "scale."]),
        (["chloride", "scale"], True, True, ["The water calls for: chloride, scale."]),
        (["chloride"], False, False, ["The water calls for: chloride.",
                                      "The warranty of M1 does not depend on water treatment."]),
    ],
)  # fmt: skip
def test_what_a_water_calls_for_is_said_first(
    needs: list[str], always: bool, depends: bool, told: list[str]
) -> None:
    """Its needs where it has any; a model that is always treated only where it has none."""
    model = {"model": "M1", "always_treat": always, "needs_treatment": depends}
    assert [line.text for line in _need_lines(needs, model)] == told


@pytest.mark.parametrize(
    ("value", "below", "most", "told"),
    [
        (0.0, None, 10.0, 1), (5.0, None, 10.0, 1), (5.1, None, 10.0, 2), (10.0, None, 10.0, 2),
        (10.1, None, 10.0, 3), (15.0, None, 10.0, 3), (15.1, None, 10.0, 4),
        (20.0, None, 10.0, 4), (20.1, None, 10.0, 5), (0.15, None, 0.3, 1), (0.3, None, 0.1, 5),
        (None, 10.0, 10.0, 2), (None, 10.1, 10.0, 0), (None, None, 10.0, 0), (5.0, None, None, 0),
        (0.0, None, 0.0, 1), (0.1, None, 0.0, 5),
    ],
)  # fmt: skip
def test_a_ratio_has_the_class_of_the_half_at_which_it_stands(
    value: float | None, below: float | None, most: float | None, told: int
) -> None:
    """Up to a half, one, one and a half, two of the maximum, above; 0 where it is not known."""
    row = pl.DataFrame(
        {"ph": [value], "ph_below": [below], "max ph": [most]},
        schema=dict.fromkeys(("ph", "ph_below", "max ph"), pl.Float64),
    )
    assert row.select(_ratio_class("ph")).item() == told
