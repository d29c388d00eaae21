"""Hazard ratios between states of the treatment, of all failures and of first ones alone.

Belongs here: which comparisons there are, and Cox's model for them. Does not belong here: the model
itself (`cox`), the tables (`treatment`).
"""

from __future__ import annotations

import numpy as np

from pipelines.field.cox import Failures, RiskSets, Stretches, fit_states
from pipelines.field.groups import TimeAtRisk
from pipelines.field.poisson import Z_95, Ratio

# The second is the reference.
COMPARISONS = (("treated", "untreated"), ("lapsed", "untreated"), ("treated", "lapsed"))
# Cox's reference state: the one that two of three comparisons refer to.
STATES = ("untreated", "treated", "lapsed")


class FirstHazards:
    """Hazard ratios of first failures."""

    def __init__(self, at_risk: TimeAtRisk) -> None:
        self._at_risk = at_risk

    def hazards(
        self, own: dict[str, np.ndarray], event: str, cause_class: str | None
    ) -> dict[tuple[str, str], Ratio]:
        """Cox ratios of one group's stretches up to each unit's first failure of a kind."""
        kinds = (event,) if cause_class is None else (event, cause_class)
        first = self._at_risk.first_ages(*kinds)[own["number"]]
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
