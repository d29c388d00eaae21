"""Every equilibrium figure against PHREEQC over a grid of waters.

Reference: PHREEQC through phreeqpython 1.6 with its phreeqc.dat (Parkhurst & Appelo 2013, USGS
Techniques and Methods 6-A43), a test-only dependency. The table of errors is
printed: `pytest -s tests/published/water/test_water_against_phreeqc.py`.
"""

from dataclasses import fields

import numpy as np
import pytest
from phreeqpython import PhreeqPython

from pipelines.water.equilibrium import Analyses, balanced_water, equilibria

MG_PER_MOL = 100_086.0
DILUTE_MOL_KG = 0.02
# Largest error allowed, absolute and as a share of the reference.
ALLOWED = {
    "langelier_25c": (0.05, 0.0),
    "langelier_60c": (0.05, 0.0),
    "langelier_100c": (0.06, 0.0),
    "langelier_100c_fixed_ph": (0.06, 0.0),
    "ryznar_25c": (0.10, 0.0),
    "ph_100c": (0.05, 0.0),
    "ccpp_closed_mg_l_25c": (3.0, 0.05),
    "ccpp_open_mg_l_100c": (2.0, 0.05),
    "silica_index_25c": (0.02, 0.0),
    "silica_index_100c": (0.02, 0.0),
}


def grid() -> Analyses:
    """Supplies from soft and acid to hard and alkaline, cold to warm; 216 waters and 84 more."""
    ph, alkalinity, calcium, salt = (
        axis.ravel()
        for axis in np.meshgrid(
            [6.3, 7.0, 7.6, 8.2, 8.8, 9.3],
            [10.0, 40.0, 120.0, 320.0],
            [4.0, 60.0, 260.0],
            [3.0, 40.0, 150.0],
            indexing="ij",
        )
    )
    random = np.random.default_rng(7)
    more = 84
    ph = np.concatenate([ph, random.uniform(6.2, 9.2, more)])
    alkalinity = np.concatenate([alkalinity, 10 ** random.uniform(0.9, 2.6, more)])
    calcium = np.concatenate([calcium, 10 ** random.uniform(0.3, 2.6, more)])
    salt = np.concatenate([salt, 10 ** random.uniform(0.3, 2.2, more)])
    place = np.arange(len(ph))
    return Analyses(
        temperature_c=4.0 + (place * 7) % 26,
        ph=ph,
        calcium_mg_l_caco3=calcium,
        magnesium_mg_l_caco3=calcium * np.array([0.1, 0.4, 0.9])[place % 3],
        alkalinity_mg_l_caco3=alkalinity,
        chloride_mg_l=salt,
        sulfate_mg_l=salt * np.array([0.3, 1.0, 2.0])[(place // 3) % 3],
        silica_mg_l=np.array([2.0, 15.0, 60.0])[(place // 5) % 3],
    )


def reference_of(code: PhreeqPython, water: dict[str, float], ph: float, celsius: float) -> dict:
    """The figures of one water from PHREEQC; totals in mol/kg."""
    totals = {
        "-units": "mol/kgw",
        "pH": ph,
        "Alkalinity": water["alkalinity"],
        "Ca": water["calcium"],
        "Mg": water["magnesium"],
        "Na": water["sodium"],
        "Cl": water["chloride"],
        "S(6)": water["sulfate"],
        "Si": water["silica"],
    }
    sample = code.add_solution({**totals, "temp": celsius})
    cold, warm, hot = (sample.copy().change_temperature(t) for t in (25, 60, 100))
    found = {
        "ionic_strength": sample.I,
        "langelier_25c": cold.si("Calcite"),
        "langelier_60c": warm.si("Calcite"),
        "langelier_100c": hot.si("Calcite"),
        "ryznar_25c": cold.pH - 2 * cold.si("Calcite"),
        "ph_100c": hot.pH,
        "silica_index_25c": cold.si("SiO2(a)"),
        "silica_index_100c": hot.si("SiO2(a)"),
    }
    cold.equalize(["Calcite"], [0], [10], [None])
    hot.equalize(["Calcite", "CO2(g)"], [0, -3.4], [10, 10], [None, None])
    for name, state in (("ccpp_closed_mg_l_25c", cold), ("ccpp_open_mg_l_100c", hot)):
        left = state.total_element("Ca", units="mol")
        found[name] = (water["calcium"] - left) * MG_PER_MOL
    try:
        fixed = code.add_solution({**totals, "temp": 100})
        found["langelier_100c_fixed_ph"] = fixed.si("Calcite")
    except Exception:  # the code raises a bare Exception where a water has no solution
        found["langelier_100c_fixed_ph"] = np.nan
    return found


@pytest.fixture(scope="module")
def compared() -> dict[str, tuple[np.ndarray, np.ndarray]]:
    """For each figure ours and the reference's, dilute waters with a solution only."""
    waters = grid()
    ours = equilibria(waters)
    totals = balanced_water({f.name: getattr(waters, f.name) for f in fields(waters)})
    code = PhreeqPython(database="phreeqc.dat")
    rows, reference = [], []
    for row in np.flatnonzero(~ours.no_solution):
        water = {f.name: float(getattr(totals, f.name)[row]) for f in fields(totals)}
        ph, celsius = float(waters.ph[row]), float(waters.temperature_c[row])
        found = reference_of(code, water, ph, celsius)
        if found["ionic_strength"] < DILUTE_MOL_KG:
            rows.append(row)
            reference.append(found)
    return {
        name: (getattr(ours, name)[rows], np.array([found[name] for found in reference]))
        for name in ALLOWED
    }


def test_errors_lie_within_what_is_promised(compared) -> None:
    """All figures but the fixed-pH index agree at every dilute water of the grid."""
    print("\n| figure | waters | mean error | largest error | allowed |\n|---|---|---|---|---|")
    assert set(compared) == set(ALLOWED)
    for name, (ours, theirs) in compared.items():
        both = np.isfinite(ours) & np.isfinite(theirs)
        error = (ours - theirs)[both]
        absolute, share = ALLOWED[name]
        allowed = np.maximum(absolute, share * np.abs(theirs[both]))
        limit = f"{absolute:g}" + (f" or {share:.0%}" if share else "")
        print(
            f"| {name} | {both.sum()} | {error.mean():+.4f} | {np.abs(error).max():.4f} | {limit} |"
        )
        if name != "langelier_100c_fixed_ph":
            assert both.sum() > 250, name
            assert np.all(np.isfinite(ours)), name
            assert np.all(np.abs(error) <= allowed), name


def test_fixed_ph_index_agrees_where_it_is_well_posed(compared) -> None:
    """With the cold pH at 100 °C the two agree but where hydroxide takes nearly all alkalinity.

    There the carbonate is a small difference of large numbers, and the index means little.
    """
    ours, theirs = compared["langelier_100c_fixed_ph"]
    both = np.isfinite(ours) & np.isfinite(theirs)
    off = np.abs(ours - theirs)[both] > 0.06
    assert both.sum() > 150
    assert off.mean() < 0.03
    assert np.mean(np.isfinite(ours) != np.isfinite(theirs)) < 0.02
