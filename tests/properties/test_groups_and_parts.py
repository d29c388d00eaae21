"""The groups of a fleet and its parts, against following every link, over random fleets."""

from __future__ import annotations

from collections import Counter

import polars as pl
from hypothesis import given
from hypothesis import strategies as st
from polars.testing import assert_frame_equal

from pipelines.engine.ground import DECIDING, split, ties
from pipelines.engine.groups import divided, number_of_parts
from schemas.feeds import record_schema

SERIALS = [f"S{number}" for number in range(12)]
SITES = [f"P{number}" for number in range(5)]
serials, sites = st.sampled_from(SERIALS), st.none() | st.sampled_from(SITES)
REGISTER = st.lists(st.tuples(serials, sites, st.none() | serials), unique_by=lambda row: row[0])
TIES = st.lists(st.tuples(st.none() | serials, sites), max_size=4)


def frame(rows: list, *names: str) -> pl.DataFrame:
    """Rows of texts as a frame."""
    return pl.DataFrame(rows, schema=dict.fromkeys(names, pl.String), orient="row")


def reached(register: list, tied: list) -> dict[str, frozenset[str]]:
    """By unit or site, all that it is linked to, by walking."""
    pairs = [(serial, f"at {site}") for serial, site, _ in register if site]
    pairs += [(serial, replaced) for serial, _, replaced in register if replaced]
    pairs += [(serial, f"at {site}") for serial, site in tied if serial and site]
    near: dict[str, set[str]] = {serial: {serial} for serial, _, _ in register}
    for here, there in pairs:
        near.setdefault(here, {here}).add(there)
        near.setdefault(there, {there}).add(here)
    found = {}
    for start in near:
        seen, waiting = {start}, [start]
        while waiting:
            for one in near[waiting.pop()] - seen:
                seen.add(one)
                waiting.append(one)
        found[start] = frozenset(seen)
    return found


@given(REGISTER, TIES, st.integers(2, 5))
def test_groups_are_what_is_linked_and_are_never_parted(register, tied, asked):
    """Two units are in one group where links lead from one to the other; a group is in one part."""
    units = frame(register, "serial", "site", "replaces")
    parts = divided(units, frame(tied, "serial", "site"), asked)
    assert parts.count == asked
    named = {
        node.removeprefix("unit ").replace("site ", "at "): (group, part)
        for node, group, part in parts.places.iter_rows()
    }
    links = reached(register, tied)
    assert set(named) == set(links)
    for one, (group, part) in named.items():
        assert {two for two, (other, _) in named.items() if other == group} == links[one]
        assert {named[two][1] for two in links[one]} == {part}
        assert part < asked
    sizes = Counter(named[serial][0] for serial, _, _ in register)
    assert dict(parts.sizes.iter_rows()) == sizes
    most = 250_000 if asked == 1 else -(-len(register) // asked)
    large = sorted((n for n in sizes.values() if n > most), reverse=True)
    told = [f"has {n} units, more than the {most} of a part; it stays whole." for n in large]
    assert [one.split(" ", 5)[5] for one in parts.too_large()] == told


@given(REGISTER, TIES, st.integers(2, 5), st.randoms())
def test_records_go_with_their_unit_whatever_the_order(register, tied, asked, random):
    """A record is with its unit, else with its site, and stays there in any order of the rows."""
    units, told = frame(register, "serial", "site", "replaces"), frame(tied, "serial", "site")
    parts = divided(units, told, asked)
    by_unit = dict(zip(units["serial"], parts.of(units), strict=True))
    by_site = {site: by_unit[serial] for serial, site, _ in register if site}
    placed = list(zip(tied, parts.of(told), strict=True))
    for (serial, site), part in placed:
        if serial is None and site is None:
            assert part == 0
        elif serial in by_unit:
            assert part == by_unit[serial]
        elif site in by_site:
            assert part == by_site[site]
    shuffled = random.sample(register, len(register))
    again = divided(frame(shuffled, "serial", "site", "replaces"), told, asked)
    assert_frame_equal(again.places.sort("node"), parts.places.sort("node"))


def test_a_serial_that_nobody_knows_has_a_place_of_its_own():
    """Records of unknown serials spread over the parts, each serial always in the same."""
    parts = divided(
        frame([("S1", "P1", None)], "serial", "site", "replaces"), frame([], "serial", "site"), 4
    )
    unknown = frame([(f"X{number}",) for number in range(200)] * 2, "serial")
    of = parts.of(unknown)
    assert of[:200].equals(of[200:])
    assert set(of) == {0, 1, 2, 3}


def test_parts_follow_the_size_of_the_fleet():
    """One part for each 250,000 units, at least one, or as many as are asked for."""
    sizes = (0, 1, 250_000, 250_001, 1_000_000)
    assert [number_of_parts(units) for units in sizes] == [1, 1, 1, 2, 4]
    assert number_of_parts(1_000_000, 3) == 3


@given(REGISTER, TIES, st.integers(1, 4))
def test_slices_hold_every_record_once_and_groups_whole(register, tied, count):
    """Splitting loses and doubles nothing, and each slice is closed under all links."""
    records = {feed: record_schema(feed).to_frame() for feed in DECIDING}
    records["units"] = widened("units", frame(register, "serial", "site", "replaces"))
    tests = frame([(f"T{n}", *row) for n, row in enumerate(tied)], "sample", "serial", "site")
    records["water_tests"] = widened("water_tests", tests)
    calls = frame([(f"C{n}", f"K{n}", s) for n, s in enumerate(SERIALS)], "call", "claim", "serial")
    records["service_calls"] = widened("service_calls", calls)
    rulings = frame([(f"K{number}",) for number in range(14)], "claim")  # two on no claim
    records["rulings"] = widened("rulings", rulings)
    slices = list(split(records, count))
    assert len(slices) == count
    for feed in ("units", "water_tests", "service_calls"):
        key = {"units": "serial", "water_tests": "sample", "service_calls": "call"}[feed]
        assert_frame_equal(
            pl.concat(one[feed] for one in slices).sort(key), records[feed].sort(key)
        )
    if count > 1:
        assert sum(one["rulings"].height for one in slices) == len(SERIALS)
    links = reached(register, [row for row in tied if all(row)])
    for one in slices:
        held = set(one["units"]["serial"])
        assert {s for s, _, _ in register if links[s] & held} == held
        assert set(one["rulings"]["claim"]) >= set(one["service_calls"]["claim"])
    assert ties(records).height == len({row for row in tied if all(row)})


def widened(feed: str, some: pl.DataFrame) -> pl.DataFrame:
    """Records that have the columns given, and null in all others."""
    schema = record_schema(feed)
    lacking = [pl.lit(None).alias(name) for name in schema if name not in some.columns]
    return some.with_columns(lacking).select(schema.names()).cast(schema)
