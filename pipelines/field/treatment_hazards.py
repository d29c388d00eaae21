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
_ROUNDING = 1e-12


class FirstHazards:
    """Hazard ratios of first failures."""

    def __init__(self, at_risk: TimeAtRisk) -> None:
        self._at_risk = at_risk

    def hazards(
        self, own: dict[str, np.ndarray], sets: RiskSets, event: str, cause_class: str | None
    ) -> dict[tuple[str, str], Ratio]:
        """Cox ratios of one group's stretches up to each unit's first failure of a kind.

        `sets` are those of the whole stretches; what comes after a failure is taken out of them.
        """
        kinds = (event,) if cause_class is None else (event, cause_class)
        ages = self._at_risk.first_ages(*kinds)[own["number"]]
        ended = np.flatnonzero(ages <= own["exit"])
        first = ages[ended]
        happened = own["entry"][ended] <= first
        failed = {name: own[name][ended[happened]] for name in ("stratum", "state", "unit")}
        if not len(failed["state"]) or (failed["state"] == failed["state"][0]).all():
            return {}  # of one state, there is nothing to compare
        failed["age"] = first[happened]
        after = {name: own[name][ended] for name in Stretches._fields}
        after["entry"] = np.maximum(after["entry"], first + 1)
        some = after["entry"] <= after["exit"]
        out = Stretches(*(after[name][some] for name in Stretches._fields))
        return hazards_of(sets, failed, sets.without(out))


def hazards_of(
    sets: RiskSets, failed: dict[str, np.ndarray], out: RiskSets | None = None
) -> dict[tuple[str, str], Ratio]:
    """Cox ratios of the comparisons; only states with a failure take part.

    `out` is what does not count of the time at risk.
    """
    fit = fit_states(sets, Failures(*(failed[name] for name in Failures._fields)), out)
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
            variance = contrast @ fit.covariance @ contrast
            # Of a single unit, residuals leave nothing but rounding: no limits can be told.
            width = Z_95 * np.sqrt(variance if variance > _ROUNDING else np.nan)
            limits = (float(np.exp(log_ratio + shift)) for shift in (0, -width, width))
            ratios[state, reference] = Ratio(*limits)
    return ratios
