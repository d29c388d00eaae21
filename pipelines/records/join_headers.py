"""The headers of a joined file: where they stand, and those that it lacks.

Belongs here: what a join names. Does not belong here: what a feed needs (`headers`).
"""

from __future__ import annotations

from collections.abc import Sequence

from pipelines.exports.header_rows import HeaderSought, places_of
from pipelines.records.header_words import listed, nearest
from pipelines.records.headers import HeaderFault, to_be_found
from pipelines.records.join_entries import Join
from pipelines.records.mapping import Mapping
from pipelines.records.mapping_checks import PLACES


def join_sought(join: Join) -> HeaderSought:
    """By what the header row of a joined file is known."""
    return HeaderSought(join.header_row, to_be_found([(name,) for name in join.needed]))


def join_fault(header: Sequence[str], join: Join, mapping: Mapping) -> HeaderFault | None:
    """Why a file cannot be joined: a header that the join names is not there."""
    lacking = [n for n in join.needed if n.casefold() not in PLACES and not places_of(n, header)]
    if not lacking:
        return None
    lacked = f"{listed(lacking)}, which {mapping.name} names under the join {join.name}"
    remedy = f"rename it, or correct the join in {mapping.name}"
    sentence = f"The file lacks the header {lacked}; {nearest(lacking, header)}; {remedy}."
    return HeaderFault("", lacking[0], "missing_header", sentence)
