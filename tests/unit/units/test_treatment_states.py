"""States of treatment against a plain walk through every day."""

from __future__ import annotations

import datetime as dt
from itertools import groupby

import polars as pl
from hypothesis import given, settings
from hypothesis import strategies as st

from pipelines.units.treatment_states import cartridge_spans, treatment_states

ZERO = dt.date(2024, 1, 1)
ABILITIES = ("scale", "chloride", "chlorine")
DAYS = st.integers(-5, 35)
COVERS = st.lists(st.tuples(DAYS, st.integers(0, 12)), max_size=3)
SYSTEMS = st.lists(
    st.tuples(st.sets(st.sampled_from(ABILITIES)), DAYS, st.booleans(), COVERS, COVERS), max_size=3
)
UNITS = st.lists(
    st.tuples(st.sets(st.sampled_from(ABILITIES)), st.booleans(), st.integers(0, 30), SYSTEMS),
    min_size=1,
    max_size=3,
)


def day(number: int) -> dt.date:
    return ZERO + dt.timedelta(days=number)


def frames(drawn) -> tuple[pl.DataFrame, pl.DataFrame, pl.DataFrame]:
    """Units, fitted systems and covers; a cover lasts until the next of its kind at most."""
    units, fitted, covers = [], [], []
    for number, (needs, tested, watched, systems) in enumerate(drawn):
        serial = f"U{number}"
        profile = "scale-forming" if tested else "untested"
        span = (day(0), day(watched)) if watched else (None, None)
        units.append((serial, profile, sorted(needs) if tested else [], *span))
        for place, (removes, since, lasting, changes, stock) in enumerate(systems):
            product = f"P{place}"
            fitted.append((serial, product, sorted(removes), day(since), None if lasting else 6))
            if lasting:
                continue
            for how, given_ in (("changes", changes), ("stock", stock)):
                ordered = sorted(given_)
                following = [*(start for start, _ in ordered[1:]), None][: len(ordered)]
                for (start, length), later in zip(ordered, following, strict=True):
                    last = day(start + length)
                    later = None if later is None else day(later)
                    covers.append((serial, product, how, day(start), last, last, later))
    text, texts, date = pl.String, pl.List(pl.String), pl.Date
    return (
        pl.DataFrame(
            units,
            schema={"serial": text, "water_profile": text, "needs": texts}
            | {"watched_from": date, "watched_until": date},
            orient="row",
        ),
        pl.DataFrame(
            fitted,
            schema={"serial": text, "product": text, "removes": texts}
            | {"active_from": date, "months": pl.Int64},
            orient="row",
        ),
        pl.DataFrame(
            covers,
            schema={"serial": text, "product": text, "how": text}
            | dict.fromkeys(("since", "due_on", "lasts_until", "next_on"), date),
            orient="row",
        ),
    )


def walked(drawn) -> list[tuple[str, dt.date, dt.date, str]]:
    """The same, unit by unit and day by day."""
    found = []
    for number, (needs, tested, watched, systems) in enumerate(drawn):
        states = [_state(needs, tested, systems, today) for today in range(watched)]
        for state, run in groupby(enumerate(states), key=lambda pair: pair[1]):
            days = [place for place, _ in run]
            found.append((f"U{number}", day(days[0]), day(days[-1] + 1), state))
    return found


def _state(needs, tested, systems, today) -> str:
    if not tested:
        return "untested"
    if not needs:
        return "not needed"
    fitted, kept = set(), set()
    for removes, since, lasting, changes, stock in systems:
        if since > today:
            continue
        fitted |= removes
        if lasting or any(_covered(covers, today) for covers in (changes, stock)):
            kept |= removes
    if needs <= kept:
        return "treated"
    return "lapsed" if needs <= fitted else "untreated"


def _covered(covers, today) -> bool:
    """Whether the latest cover begun by today still lasts."""
    begun = [cover for cover in sorted(covers) if cover[0] <= today]
    return bool(begun) and today <= begun[-1][0] + begun[-1][1]


@settings(max_examples=60, deadline=None)
@given(UNITS)
def test_states_are_those_of_a_walk_through_every_day(drawn):
    """Neighbors differ, the watch is filled, and no day before an installation is treated."""
    told = treatment_states(*frames(drawn))
    assert told.rows() == walked(drawn)


@settings(max_examples=20, deadline=None)
@given(UNITS)
def test_the_order_of_rows_says_nothing(drawn):
    """Reversed frames give the same states."""
    units, fitted, covers = frames(drawn)
    told = treatment_states(units.reverse(), fitted.reverse(), covers.reverse())
    assert told.equals(treatment_states(units, fitted, covers))


def test_spans_of_cartridges_join_up_to_today():
    """Overlapping covers are one stretch; what lies between two, and after the last, is lapsed."""
    drawn = [({"scale"}, True, 30, [({"scale"}, 0, False, [(0, 4), (10, 3)], [(2, 5)])])]
    _, _, covers = frames(drawn)
    told = cartridge_spans(covers, day(20)).select("state", "start", "end").rows()
    assert told == [
        ("covered", day(0), day(8)),
        ("lapsed", day(8), day(10)),
        ("covered", day(10), day(14)),
        ("lapsed", day(14), day(21)),
    ]


def test_covers_that_meet_are_one_stretch():
    """A cover to the fourth, included, and one from the fifth leave no day between them."""
    drawn = [({"scale"}, True, 30, [({"scale"}, 0, False, [(0, 4), (5, 3)], [])])]
    _, _, covers = frames(drawn)
    told = cartridge_spans(covers, day(20)).select("state", "start", "end").rows()
    assert told == [("covered", day(0), day(9)), ("lapsed", day(9), day(21))]
