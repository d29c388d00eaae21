"""Cox's model on two open data sets: strata, delayed entry, and who is at risk on a failure's day.

Source: the recidivism study of Rossi, Berk and Lenihan (1980) and the Stanford heart transplants of
Crowley and Hu (1977), as lifelines 0.30.3 carries them (`load_rossi`,
`load_stanford_heart_transplants`; the latter is R's `survival::heart`). Values: lifelines 0.30.3,
`CoxPHFitter(strata=["race"])` and `CoxTimeVaryingFitter`; statsmodels 0.15.0, `PHReg`.
"""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from lifelines import CoxPHFitter, CoxTimeVaryingFitter
from lifelines.datasets import load_rossi, load_stanford_heart_transplants
from statsmodels.duration.hazard_regression import PHReg

from pipelines.field.cox import Failures, Hazards, RiskSets, Stretches, fit_states

HEART = {"age": 0.0272, "year": -0.1463, "surgery": -0.6372, "transplant": -0.0103}
OF_HEART = [*HEART]


@pytest.fixture(scope="module")
def rossi() -> pd.DataFrame:
    """432 men, by the week of their arrest."""
    return load_rossi()


@pytest.fixture(scope="module")
def heart() -> pd.DataFrame:
    """172 stretches of 103 patients before and after their transplant, in halves of days."""
    return load_stanford_heart_transplants()


def by_rows(heart: pd.DataFrame, columns: list[str], later: float, ties: str) -> np.ndarray:
    """PHReg's estimates, each patient coming under watch so much later."""
    return (
        PHReg(
            heart["stop"].to_numpy(float),
            heart[columns].to_numpy(float),
            status=heart["event"].to_numpy(),
            entry=heart["start"].to_numpy(float) + later,
            ties=ties,
        )
        .fit()
        .params
    )


def counted(
    stratum: pd.Series, state: pd.Series, unit: pd.Series, span: pd.DataFrame, event: pd.Series
) -> Hazards:
    """The product's estimate; `span` holds the first and last age at risk."""
    parts = [
        stratum.rank(method="dense").to_numpy(int) - 1,
        state.to_numpy(int),
        unit.rank(method="dense").to_numpy(int) - 1,
    ]
    first, last = (span[name].to_numpy(int) for name in ("first", "last"))
    failed = event.to_numpy() == 1
    found = fit_states(
        RiskSets.of(Stretches(*parts, first, last), 2),
        Failures(*(part[failed] for part in parts), last[failed]),
    )
    assert found is not None
    return found


def test_strata_on_the_recidivism_study(rossi: pd.DataFrame) -> None:
    """Aid and earlier convictions, stratified by race: both libraries, and the published values."""
    found = CoxPHFitter().fit(rossi, "week", "arrest", strata=["race"]).params_
    assert found["fin"] == pytest.approx(-0.3788, abs=5e-5)
    assert found["prio"] == pytest.approx(0.0922, abs=5e-5)
    terms = [name for name in rossi.columns if name not in ("week", "arrest", "race")]
    other = PHReg(
        rossi["week"].to_numpy(float),
        rossi[terms].to_numpy(float),
        status=rossi["arrest"].to_numpy(),
        strata=rossi["race"].to_numpy(),
        ties="efron",
    ).fit()
    assert other.params == pytest.approx(found[terms].to_numpy(), rel=1e-6)


def test_ours_on_the_recidivism_study(rossi: pd.DataFrame) -> None:
    """Aid alone, stratified by race, Breslow's ties: PHReg's estimate, -0.3791304."""
    expected = (
        PHReg(
            rossi["week"].to_numpy(float),
            rossi[["fin"]].to_numpy(float),
            status=rossi["arrest"].to_numpy(),
            strata=rossi["race"].to_numpy(),
            ties="breslow",
        )
        .fit()
        .params[0]
    )
    assert expected == pytest.approx(-0.3791304, abs=1e-7)
    span = pd.DataFrame({"first": 0 * rossi["week"], "last": rossi["week"]})
    ours = counted(rossi["race"], rossi["fin"], pd.Series(range(len(rossi))), span, rossi["arrest"])
    assert ours.log_ratios.tolist() == pytest.approx([0.0, expected], rel=1e-8)


def test_delayed_entry_on_the_heart_transplants(heart: pd.DataFrame) -> None:
    """The published values, and the trap: PHReg takes who enters on a failure's day for at risk."""
    fitter = CoxTimeVaryingFitter().fit(
        heart, id_col="id", event_col="event", start_col="start", stop_col="stop"
    )
    assert fitter.params_[OF_HEART].tolist() == pytest.approx([*HEART.values()], abs=5e-5)
    as_it_comes = by_rows(heart, OF_HEART, 0.0, "efron")
    shifted = by_rows(heart, OF_HEART, 0.25, "efron")
    assert as_it_comes[-1] == pytest.approx(-0.0554, abs=5e-5)
    assert shifted.tolist() == pytest.approx(fitter.params_[OF_HEART].tolist(), rel=1e-5)


def test_ours_on_the_heart_transplants(heart: pd.DataFrame) -> None:
    """The transplant alone, as a state that changes: 0.1256669, as of rows that enter later.

    Halves of days are whole numbers when doubled; who enters on a day is at risk from the next on.
    """
    expected = by_rows(heart, ["transplant"], 0.25, "breslow")[0]
    assert expected == pytest.approx(0.1256669, abs=1e-7)
    assert by_rows(heart, ["transplant"], 0.0, "breslow")[0] == pytest.approx(0.0816396, abs=1e-7)
    span = pd.DataFrame({"first": 2 * heart["start"] + 1, "last": 2 * heart["stop"]})
    ours = counted(0 * heart["id"], heart["transplant"], heart["id"], span, heart["event"])
    assert ours.log_ratios.tolist() == pytest.approx([0.0, expected], rel=1e-8)
