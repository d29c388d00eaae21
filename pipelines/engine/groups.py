"""Which units belong together, and in which part of the fleet each group of them is worked on.

Belongs here: the groups and the parts. Does not belong here: reading records, or working on them.

A group is what nothing outside bears on: the units of a site, units that took over from each other,
and what a record ties together by naming a unit and another's site. Nothing but its name decides in
which part a group is, so that it stays there while others come and go.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import polars as pl

UNITS_A_PART = 250_000
# Names of units and of sites must not be taken for each other.
_SITE, _UNIT = "site ", "unit "


def number_of_parts(units: int, requested: int = 0) -> int:
    """How many parts a fleet has: those asked for, or one for each `UNITS_A_PART`, at least one."""
    return requested or max(1, -(-units // UNITS_A_PART))


@dataclass(frozen=True)
class Parts:
    """A fleet divided into `count` parts.

    places: node (a unit or a site), group, part: of every unit and site that is tied to another.
    sizes: group, units: how many units of the register each group has.
    """

    count: int
    places: pl.DataFrame
    sizes: pl.DataFrame

    @classmethod
    def undivided(cls) -> Parts:
        """A fleet in one part, whose groups nobody asks for."""
        places = {"node": pl.String, "group": pl.String, "part": pl.UInt32}
        sizes = {"group": pl.String, "units": pl.UInt32}
        return cls(1, pl.DataFrame(schema=places), pl.DataFrame(schema=sizes))

    def of(self, records: pl.DataFrame) -> pl.Series:
        """The part of each record.

        Args:
            records: serial and, where they have one, site. A record goes with its unit, one that
                names none with its site; one that names neither is in the first part.
        """
        names = [pl.lit(_UNIT) + pl.col("serial")]
        if "site" in records.columns:
            names.append(pl.lit(_SITE) + pl.col("site"))
        nodes = records.select(node=pl.coalesce(names))
        return (
            nodes.join(self.places, on="node", how="left", maintain_order="left")
            .select(part=pl.coalesce("part", _part("node", self.count), pl.lit(0, pl.UInt32)))
            .get_column("part")
        )

    def too_large(self) -> list[str]:
        """A sentence for each group of more units than a part was meant to hold, largest first."""
        units = int(self.sizes["units"].sum())
        most = UNITS_A_PART if self.count == number_of_parts(units) else -(-units // self.count)
        large = self.sizes.filter(pl.col("units") > most).sort(
            "units", "group", descending=[True, False]
        )
        return large.select(
            pl.format(
                "The group of {} has {} units, more than the {} of a part; it stays whole.",
                "group", "units", pl.lit(most),
            )
        ).to_series().to_list()  # fmt: skip


def divided(units: pl.DataFrame, ties: pl.DataFrame, requested: int = 0) -> Parts:
    """Divides a fleet.

    Args:
        units: serial, site, replaces of the register.
        ties: serial, site: what records name together, the register left out or not.
        requested: how many parts; 0: as many as the fleet asks for.
    """
    count = number_of_parts(units.height, requested)
    unit, site = pl.lit(_UNIT) + pl.col("serial"), pl.lit(_SITE) + pl.col("site")
    took_over = pl.lit(_UNIT) + pl.col("replaces")
    links = pl.concat(
        [
            units.select(here=unit, there=pl.coalesce(site, unit)),
            units.filter(pl.col("replaces").is_not_null()).select(here=unit, there=took_over),
            ties.drop_nulls(["serial", "site"]).select(here=unit, there=site),
        ]
    ).drop_nulls()
    groups = _groups(links)
    places = groups.with_columns(part=_part("group", count))
    sizes = (
        units.select(node=unit)
        .join(groups, on="node", how="left")
        .group_by("group")
        .agg(units=pl.len())
    )
    return Parts(count, places, sizes)


def _groups(links: pl.DataFrame) -> pl.DataFrame:
    """node, group: what is linked, however far, is one group, named for its first site or unit.

    A site's name sorts before a unit's: a group keeps its name while units come and go.
    """
    from scipy.sparse import coo_matrix  # a fleet of one part needs none of it
    from scipy.sparse.csgraph import connected_components

    nodes = pl.concat([links["here"], links["there"]]).unique().sort().to_frame("node")
    numbered = nodes.with_row_index("number")
    ends = [
        links.select(node=end).join(numbered, on="node", maintain_order="left")["number"].to_numpy()
        for end in ("here", "there")
    ]
    ones = np.ones(links.height, dtype=np.int8)
    matrix = coo_matrix((ones, (ends[0], ends[1])), shape=(nodes.height, nodes.height))
    labels = connected_components(matrix, directed=False)[1] if nodes.height else np.empty(0, int)
    return nodes.with_columns(label=pl.Series(labels)).select(
        "node", group=pl.col("node").first().over("label")
    )


def _part(name: str, count: int) -> pl.Expr:
    """The part of what has that name; null where it has none."""
    part = (pl.col(name).hash(seed=0) % count).cast(pl.UInt32)
    return pl.when(pl.col(name).is_not_null()).then(part)


def in_slices(height: int, most: int) -> int:
    """Into how many slices of at most so many rows these go; at least one."""
    return max(1, -(-height // most))
