"""Following chains of replacements for all units at once, against one unit at a time."""

from datetime import date, timedelta

import polars as pl
from hypothesis import given, settings
from hypothesis import strategies as st

from pipelines.coverage.replacements import first_of_chain, links, with_predecessors

SERIALS = [f"U{number}" for number in range(9)]
# Days are few, so that units shipped together, and with them circles, are common.
REGISTERS = st.lists(
    st.tuples(
        st.sampled_from(SERIALS),
        st.one_of(st.none(), st.sampled_from([*SERIALS, "GONE"])),
        st.integers(0, 2),
    ),
    unique_by=lambda row: row[0],
    max_size=9,
)


def frame(rows):
    """The register as a frame."""
    return pl.DataFrame(
        [(serial, replaces, date(2024, 1, 1) + timedelta(days)) for serial, replaces, days in rows],
        schema={"serial": pl.String, "replaces": pl.String, "shipped_on": pl.Date},
        orient="row",
    )


def is_followed(rows):
    """By plain steps: for each unit with a link, whether the link is followed."""
    shipped = {serial: days for serial, _, days in rows}
    plain = {
        serial: replaces
        for serial, replaces, days in rows
        if replaces in shipped and replaces != serial and shipped[replaces] <= days
    }

    def comes_back(serial):
        at = plain.get(serial)
        for _ in range(len(plain)):
            if at is None or at == serial:
                break
            at = plain.get(at)
        return at == serial

    return {
        serial: serial in plain and not comes_back(serial)
        for serial, replaces, _ in rows
        if replaces is not None
    }


@settings(max_examples=200, deadline=None)
@given(rows=REGISTERS)
def test_links_are_followed_as_by_plain_steps(rows):
    """The same links hold, and every chain ends at the same unit."""
    told = links(frame(rows))
    expected = is_followed(rows)
    found = dict(told.select("serial", pl.col("fault").is_null()).iter_rows())
    assert found == expected
    step = {serial: replaces for serial, replaces, _ in rows if expected.get(serial)}
    ends = {}
    for serial in step:
        at = serial
        while at in step:
            at = step[at]
        ends[serial] = at
    sound = told.filter(pl.col("fault").is_null()).select("serial", "replaces")
    assert dict(first_of_chain(sound).iter_rows()) == ends


@settings(max_examples=100, deadline=None)
@given(rows=REGISTERS, asked=st.sets(st.sampled_from(SERIALS)))
def test_predecessors_are_all_that_links_reach(rows, asked):
    """Each unit once, in circles too."""
    register = frame(rows)
    found = with_predecessors(register.filter(pl.col("serial").is_in(asked)), register)
    reach = {serial: replaces for serial, replaces, _ in rows}
    expected = asked & set(reach)
    while more := {reach[serial] for serial in expected} & set(reach) - expected:
        expected |= more
    assert sorted(found["serial"]) == sorted(expected)


def test_a_long_chain_ends_at_its_first_unit():
    """A thousand replacements in a row are followed in as many rounds as the length has bits."""
    count = 1_000
    pairs = pl.DataFrame(
        {
            "serial": [f"{n}" for n in range(1, count)],
            "replaces": [f"{n}" for n in range(count - 1)],
        }
    )
    assert first_of_chain(pairs)["first"].unique().to_list() == ["0"]
