"""Figure 5, the months to come: what a quarter of entry will have come to, by its course so far.

Belongs here: the gamma-Poisson projection of quarters and its limits. Does not belong here: who is
counted, the table (`cohorts`), how earlier projections came out (`completion_record`).

A quarter's mean count so far goes on as all quarters' does, times how it has compared with them:
theta | data ~ gamma(alpha + observed, alpha + expected). The reference at an age is that of all
quarters of the group by family, mixed as the families of the quarter that will then be watched.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from pipelines.field.counted_episodes import CountedEpisodes, Events
from pipelines.field.mean_cumulative import Course as MeanCourse
from pipelines.field.mean_cumulative import courses_at_months
from pipelines.field.risk_sets import MONTH_AGES, MONTHS, at_risk_at_months

DRAWS = 500
FEWEST_AT_RISK = 10  # of a family among all quarters, below which it is no reference
LEVELS = {"low": 0.025, "low_80": 0.1, "high_80": 0.9, "high": 0.975}
_SEED = 5
_MOST_ALIKE, _LEAST_ALIKE = 1e4, 1e-2
_GRID, _FLAT = 121, 1e-7
_TRACE = 1e-12


class Course(NamedTuple):
    """What a projection starts from, by quarter (rows) and month 0 to 60.

    group: the number of each quarter's group. mean: mean count so far, completed. at_risk: units
    watched so long by now. reached: the last month reached; -1: none. whole: the last that all of
    its units have reached. observed: failures so far, completed. expected: those expected at the
    reference's steps. due: quarters x families x months, units that will be watched so long, or
    were.
    """

    group: np.ndarray
    mean: np.ndarray
    at_risk: np.ndarray
    reached: np.ndarray
    whole: np.ndarray
    observed: np.ndarray
    expected: np.ndarray
    due: np.ndarray


class Reference(NamedTuple):
    """All quarters' mean count by group and family at months (groups x families x months), its
    standard error, units at risk, and its course by group and family, as one number."""

    mean: np.ndarray
    error: np.ndarray
    at_risk: np.ndarray
    course: MeanCourse

    def course_of(self, at_risk: CountedEpisodes) -> np.ndarray:
        """By how much it rises while each episode lasts; episodes by group and family.

        Episodes end at few ages, and few of them begin late: the course is looked up at these.
        """
        episodes, endings = at_risk.episodes, at_risk.endings
        ended = self.course.at(endings.group, np.minimum(endings.age, MONTH_AGES[-1]))
        rise: np.ndarray = ended[endings.place]
        late = np.flatnonzero(episodes.entry > 0)
        rise[late] -= self.course.at(episodes.group[late], episodes.entry[late] - 1)
        return rise


class Projected(NamedTuple):
    """Quarters x months; NaN where nothing is projected. missing: where a family lacks one."""

    value: np.ndarray
    limits: dict[str, np.ndarray]
    missing: np.ndarray


def reference_of(at_risk: CountedEpisodes, families: int, events: Events) -> Reference:
    """The curves of all quarters by group and family.

    Args:
        at_risk: episodes with the number of their group and family.
        families: how many there are.
        events: failures with their weights.
    """
    ((mean, course),) = courses_at_months(at_risk, events, events.weight)
    groups = at_risk.grid.groups
    shape = (groups // families if families else 0, families, MONTHS + 1)
    return Reference(
        mean.value.reshape(shape),
        mean.error.reshape(shape),
        at_risk_at_months(at_risk.episodes, groups).reshape(shape),
        course,
    )


def alpha_of(observed: np.ndarray, expected: np.ndarray) -> float:
    """How alike quarters are: the shape of theta's gamma (mean 1), by maximum likelihood.

    Looked for on a grid, then on a finer one, so that neither the order of sums nor a likelihood
    that is flat (quarters as alike as chance has it) decides.
    """
    known = expected > 0
    o, e = observed[known], expected[known]
    if len(o) < 2:
        return _MOST_ALIKE
    low, high = np.log(_LEAST_ALIKE), np.log(_MOST_ALIKE)
    for _ in range(2):
        logs = np.linspace(low, high, _GRID)
        likelihood = _likelihood(np.exp(logs)[:, None], o, e)
        best = int(np.argmax(likelihood >= likelihood.max() - _FLAT))
        low, high = logs[max(best - 1, 0)], logs[min(best + 1, _GRID - 1)]
    return float(np.exp(logs[best]))


def _likelihood(alpha: np.ndarray, o: np.ndarray, e: np.ndarray) -> np.ndarray:
    from scipy.special import gammaln

    terms = gammaln(o + alpha) - gammaln(alpha) + alpha * np.log(alpha / (alpha + e))
    log_likelihood: np.ndarray = (terms + o * np.log(e / (alpha + e))).sum(axis=1)
    return log_likelihood


def project(course: Course, reference: Reference, spread: float, seed: int) -> Projected:
    """Mean counts of months that quarters have not reached, with prediction limits.

    Args:
        course: the quarters.
        reference: of their groups.
        spread: the dispersion of counts.
        seed: of the draws.
    """
    months = np.arange(MONTHS + 1)
    value = np.full((len(course.group), MONTHS + 1), np.nan)
    limits = {name: value.copy() for name in LEVELS}
    units = course.due.sum(axis=1)
    few = reference.at_risk[course.group] < FEWEST_AT_RISK
    lacking = ((course.due > 0) & few).any(axis=1)
    ahead = (months > course.reached[:, None]) & (units > 0) & (course.reached >= 0)[:, None]
    missing = ahead & (np.cumsum(lacking & ahead, axis=1) > 0)
    known = (ahead & ~missing).sum(axis=1)
    random = np.random.Generator(np.random.SFC64([_SEED, seed]))
    every, alphas = _months(course, reference), {}
    ranks = {name: round(below * (DRAWS - 1)) for name, below in LEVELS.items()}
    for group in np.unique(course.group[known > 0]):
        own = course.group == group
        alphas[group] = alpha_of(course.observed[own], course.expected[own])
    for place in np.flatnonzero(known).tolist():
        alpha, last = alphas[course.group[place]], int(course.reached[place])
        theta = (alpha + course.observed[place], alpha + course.expected[place])
        first = max(min(int(course.whole[place]), last) + 1, 1)
        to_come = every.of(place, first, last + 1 + int(known[place]))
        late = slice(last + 1 - first, None)
        now, cells = course.mean[place, last], (place, slice(last + 1, last + 1 + known[place]))
        value[cells] = now + theta[0] / theta[1] * np.cumsum(to_come.step[late])
        ranked = np.sort(_draws(random, theta, to_come, spread)[late], axis=1)
        for name, rank in ranks.items():
            limits[name][cells] = now + ranked[:, rank]
    return Projected(value, limits, missing)


class _Months(NamedTuple):
    """Months that not all units of a quarter have reached; of all quarters x months 0 to 60.

    step, error: of the reference, by month. due: units. coming: of them, those that have not
    reached it. seen: the quarter's own step so far; 0 in months that it has not reached.
    """

    step: np.ndarray
    error: np.ndarray
    due: np.ndarray
    coming: np.ndarray
    seen: np.ndarray

    def of(self, place: int, first: int, end: int) -> _Months:
        """Those of one quarter from `first` to before `end`."""
        return _Months(*(table[place, first:end] for table in self))


def _months(course: Course, reference: Reference) -> _Months:
    """All months of all quarters; month 0 adds nothing."""
    due = course.due.astype(float)
    units = due.sum(axis=1)
    share = due / np.maximum(units, 1)[:, None]
    steps = np.diff(reference.mean, axis=2, prepend=reference.mean[:, :, :1])
    # Errors of months add up as the curves' variances grow; a trace of rounding is no growth.
    squares = reference.error**2
    growth = np.diff(squares, axis=2, prepend=squares[:, :, :1])
    variance = np.where(growth > _TRACE * squares, growth, 0)
    seen = np.arange(MONTHS + 1) <= course.reached[:, None]
    here = np.where(seen, course.at_risk, 0)
    own_step = np.diff(course.mean, axis=1, prepend=course.mean[:, :1])
    return _Months(
        (share * steps[course.group]).sum(axis=1),
        np.sqrt((share**2 * variance[course.group]).sum(axis=1)),
        units,
        np.maximum(units - here, 0),
        np.where(seen, own_step, 0.0),
    )


def _draws(
    random: np.random.Generator, theta: tuple[float, float], to_come: _Months, spread: float
) -> np.ndarray:
    """What will have been added to the mean count so far, months x draws.

    In months that some units have reached, those that have not yet change the mean too.
    """
    ratio = random.standard_gamma(theta[0], DRAWS) / theta[1]
    total, error = np.cumsum(to_come.step), np.sqrt(np.cumsum(to_come.error**2))
    # The reference is off as a whole, by its error in proportion to what it adds.
    off = np.divide(error, total, out=np.zeros_like(total), where=total > 0)
    # In place, since these few thousand numbers are made for each of thousands of quarters.
    course = off[:, None] * random.standard_normal(DRAWS)
    course += 1
    np.maximum(course, 0, out=course)
    course *= ratio
    course *= total[:, None]
    course[1:] = np.diff(course, axis=0)
    mean = np.maximum(course, 0, out=course)
    mean *= (to_come.coming / spread)[:, None]
    # Rounded: a trace in the place of 0 would take a random number, and shift all that follow.
    counts = spread * random.poisson(np.round(mean, 9, out=mean))
    counts -= (to_come.seen * to_come.coming)[:, None]
    counts /= np.maximum(to_come.due, 1)[:, None]
    added: np.ndarray = np.cumsum(counts, axis=0, out=counts)
    return added


def month_of(days: np.ndarray) -> np.ndarray:
    """The last whole month that so many days hold (30.4375 days each)."""
    months: np.ndarray = np.clip(days * 16 // 487, -1, MONTHS)
    return months
