"""Hazard ratios between states of the treatment, of all failures and of first ones alone.

Belongs here: which comparisons there are, and Cox's model for them. Does not belong here: the model
itself (`cox`), the tables (`treatment`).
"""

from __future__ import annotations

import numpy as np
import polars as pl

from pipelines.field.cox import Failures, RiskSets, Stretches, fit_states
from pipelines.field.groups import NEVER, TimeAtRisk, of_event
from pipelines.field.poisson import Z_95, Ratio

# The second is the reference.
COMPARISONS = (("treated", "untreated"), ("lapsed", "untreated"), ("treated", "lapsed"))
# Cox's reference state: the one that two of three comparisons refer to.
STATES = ("untreated", "treated", "lapsed")


class FirstHazards:
    """Hazard ratios of first failures; the first of each kind is looked up once."""

    def __init__(self, at_risk: TimeAtRisk) -> None:
        self._at_risk = at_risk
        self._ages: dict[tuple[str, str | None], np.ndarray] = {}

    def hazards(
        self, own: dict[str, np.ndarray], event: str, cause_class: str | None
    ) -> dict[tuple[str, str], Ratio]:
        """Cox ratios of one group's stretches up to each unit's first failure of a kind."""
        first = self._first(event, cause_class)[own["number"]]
        kept = own["entry"] <= first
        happened = kept & (first <= own["exit"])
        states = own["state"][happened]
        if not len(states) or (states == states[0]).all():
            return {}  # of one state, there is nothing to compare
        failed = {name: own[name][happened] for name in ("stratum", "state", "unit")}
        failed["age"] = first[happened]
        cut = {name: own[name][kept] for name in Stretches._fields}
        cut["exit"] = np.minimum(cut["exit"], first[kept])
        stretches = Stretches(*(cut[name] for name in Stretches._fields))
        return hazards_of(RiskSets.of(stretches, len(STATES)), failed)

    def _first(self, event: str, cause_class: str | None) -> np.ndarray:
        if (event, cause_class) not in self._ages:
            happened = self._at_risk.ever.filter(of_event(event))
            if cause_class is not None:
                happened = happened.filter(pl.col("cause_class") == cause_class)
            firsts = happened.group_by("unit").agg(pl.col("age").min())
            ages = np.full(self._at_risk.units, NEVER)
            ages[firsts["unit"].to_numpy()] = firsts["age"].to_numpy()
            self._ages[event, cause_class] = ages
        return self._ages[event, cause_class]


def hazards_of(sets: RiskSets, failed: dict[str, np.ndarray]) -> dict[tuple[str, str], Ratio]:
    """Cox ratios of the comparisons; only states with a failure take part."""
    fit = fit_states(sets, Failures(*(failed[name] for name in Failures._fields)))
    if fit is None:
        return {}
    states = [STATES[state] for state in fit.states]
    ratios = {}
    for state, reference in COMPARISONS:
        if state in states and reference in states:
            contrast = np.zeros(len(states))
            contrast[states.index(state)] += 1
            contrast[states.index(reference)] -= 1
            log_ratio = contrast @ fit.log_ratios
            width = Z_95 * np.sqrt(contrast @ fit.covariance @ contrast)
            limits = (float(np.exp(log_ratio + shift)) for shift in (0, -width, width))
            ratios[state, reference] = Ratio(*limits)
    return ratios
