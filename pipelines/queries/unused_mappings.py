"""Mappings that no file is named by, and entries that leave out nothing or everything.

Belongs here: sentences for people about what a mapping says in vain. Does not belong here: faults,
which stop a refresh (`pipelines.records.mapping`).
"""

from __future__ import annotations

from collections.abc import Sequence

from pipelines.records.left_out import idle_entries
from pipelines.records.mapping import Mapping
from pipelines.steps.read_part import ReadPart
from pipelines.store.inputs import Inputs


def unused_of_mappings(
    inputs: Inputs, paths: Sequence[str], parts: Sequence[tuple[str, ReadPart]]
) -> list[str]:
    """One sentence for each mapping or entry.

    Args:
        inputs: the workspace.
        paths: the files below exports/.
        parts: the parts that were read, without their rows.
    """
    sentences = inputs.mappings.unused_sentences(paths)
    for mapping in inputs.mappings.all:
        for join in ("", *(one.name for one in mapping.joins)):
            # Of a file that is set aside whole nobody looked at a row.
            served = [
                part
                for _, part in parts
                if part.mapping is mapping and part.join == join and not part.parsed.is_whole
            ]
            if served:
                sentences += _entries(mapping, join, served)
    return sentences


def _entries(mapping: Mapping, join: str, served: list[ReadPart]) -> list[str]:
    left = {}
    entries = {n: entry for n, (of, entry) in enumerate(mapping.entries) if of == join}
    for number, entry in entries.items():
        if entry.is_of_sheets:
            left[number] = sum(
                part.parsed.sheet_rows_left_out
                for part in served
                if number in part.parsed.left_out["entry"]
            )
        else:
            left[number] = sum(part.parsed.left_out.filter(entry=number).height for part in served)
    rows = sum(part.parsed.rows_read for part in served)
    return idle_entries(mapping.name, entries, left, rows)
