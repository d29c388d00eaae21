"""Units that took over from others: which links hold, and where a chain of them begins.

Belongs here: links between serials, and following them. Does not belong here: dates of the clock
(`clock`), which ask where a chain begins.

Chains are followed by doubling: every round looks up for each unit what its own link already
found, so that n links are followed to their ends in about log2(n) rounds.
"""

from __future__ import annotations

import polars as pl

NOT_ON_REGISTER = "is not on the register"
ITSELF = "is the unit itself"
SHIPPED_LATER = "was shipped after this unit"
IN_A_CIRCLE = "is in turn a replacement of this unit"
NO_CLOCK = "has no terms in force, and so no clock"

_LINK = pl.Schema({"serial": pl.String(), "replaces": pl.String()})


def links(units: pl.DataFrame) -> pl.DataFrame:
    """Every unit that names the one it took over from.

    Args:
        units: serial, replaces, shipped_on of the register.

    Returns:
        serial, replaces, fault (why the link is not followed, as the rest of a sentence about the
        replaced unit; null where it is), sharing (how many units name the same one, itself
        included); sorted by serial.
    """
    register = units.select("serial", "shipped_on")
    linked = (
        units.filter(pl.col("replaces").is_not_null())
        .select("serial", "replaces", "shipped_on")
        .join(register, left_on="replaces", right_on="serial", how="left", suffix="_before")
        .with_columns(
            sharing=pl.len().over("replaces").cast(pl.Int64),
            fault=pl.when(pl.col("replaces") == pl.col("serial"))
            .then(pl.lit(ITSELF))
            # Every unit on the register has that day.
            .when(pl.col("shipped_on_before").is_null())
            .then(pl.lit(NOT_ON_REGISTER))
            .when(pl.col("shipped_on_before") > pl.col("shipped_on"))
            .then(pl.lit(SHIPPED_LATER)),
        )
    )
    circular = _in_circles(linked.filter(pl.col("fault").is_null()).select(_LINK.names()))
    in_circle = pl.col("serial").is_in(circular.implode())
    return (
        linked.with_columns(
            fault=pl.when(in_circle).then(pl.lit(IN_A_CIRCLE)).otherwise(pl.col("fault"))
        )
        .select("serial", "replaces", "fault", "sharing")
        .sort("serial")
    )


def first_of_chain(pairs: pl.DataFrame) -> pl.DataFrame:
    """Where the chain of each link ends that leads from unit to replaced unit.

    Args:
        pairs: serial, replaces; each serial once, without circles.

    Returns:
        serial, first: the unit at the end, which replaces none; sorted by serial.
    """
    ends = pairs.select("serial", first="replaces")
    for _ in range(_rounds(ends)):
        ends = ends.join(
            ends.rename({"serial": "first", "first": "further"}), on="first", how="left"
        ).select("serial", first=pl.coalesce("further", "first"))
    return ends.sort("serial")


def in_words() -> pl.Expr:
    """What became of the clock of the unit that was replaced, as sentences; null without one.

    Reads replaces, clock_source, clock_start, replacement_fault and replacement_sharing of
    `clock.unit_terms`.
    """
    before, fault = pl.col("replaces"), pl.col("replacement_fault")
    said = (
        pl.when(fault.is_not_null())
        .then(pl.format("It names {} as the unit that it took over from, which {}.", before, fault))
        .when(pl.col("clock_source") == "replaced_unit")
        .then(
            pl.format(
                "It took over from {} and carries on its clock, which began on {}.",
                before,
                pl.col("clock_start").dt.to_string("%Y-%m-%d"),
            )
        )
        .otherwise(pl.format("It took over from {}; a clock of its own runs.", before))
    )
    shared = (
        pl.when(pl.col("replacement_sharing") > 1)
        .then(
            pl.format(
                " {} units say that they took over from {}; the records do not tell which did.",
                "replacement_sharing",
                before,
            )
        )
        .otherwise(pl.lit(""))
    )
    return pl.when(before.is_not_null()).then(said + shared)


def all_before(pairs: pl.DataFrame) -> pl.DataFrame:
    """Every unit before each unit on its chain: serial, earlier; the pairs have no circles."""
    steps = pairs.select("serial", earlier="replaces")
    every = [steps]
    while not steps.is_empty():
        steps = steps.join(pairs.select(earlier="serial", further="replaces"), on="earlier").select(
            "serial", earlier="further"
        )
        every.append(steps)
    return pl.concat(every)


def _in_circles(pairs: pl.DataFrame) -> pl.Series:
    """The units whose links lead back to themselves: whatever is still reached after n steps."""
    reached = pairs.select("serial", to="replaces")
    for _ in range(_rounds(reached)):
        reached = reached.join(
            reached.rename({"serial": "to", "to": "further"}), on="to", how="inner"
        ).select("serial", to="further")
    return reached["to"].unique()


def _rounds(pairs: pl.DataFrame) -> int:
    # Doubled so often, a step is longer than any chain of these links.
    return pairs.height.bit_length()


def with_predecessors(units: pl.DataFrame, register: pl.DataFrame) -> pl.DataFrame:
    """The units, and the units of the register that they took over from, to the chains' ends."""
    known = units
    fresh = units
    while True:
        wanted = fresh.select(serial="replaces").drop_nulls().unique()
        fresh = register.join(wanted, on="serial", how="semi").join(known, on="serial", how="anti")
        if fresh.is_empty():
            return known
        known = pl.concat([known, fresh])
