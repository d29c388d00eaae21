"""planted.toml: what the sample holds on purpose, for tests to compare with what is found.

Belongs here: the row account that follows from the deliveries, and the list of what was planted.
Does not belong here: planting (`quirks`, `faults`, `failures`).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import asdict

import polars as pl

from sample_data.deliveries import DAY, FILE, ROW
from sample_data.faults import PlantedFault
from sample_data.quirks import Quirk

KEYS = {
    "units": ["serial"],
    "startups": ["report"],
    "water_tests": ["sample"],
    "treatment_purchases": ["order", "line"],
    "service_calls": ["call"],
    "rulings": ["claim", "ruled_at"],
    "credits": [
        "claim",
        "credited_on",
        "credit",
        "parts_amount",
        "labor_amount",
        "travel_amount",
    ],
}
FATES = ("records", "superseded", "duplicates", "set_aside")


def fates(feed: str, text: pl.DataFrame) -> pl.DataFrame:
    """FILE and the fate of every sound row; rows come in the order in which later ones win."""
    columns = [name for name in text.columns if name not in (FILE, DAY, ROW)]
    rows = text.with_row_index("_turn")
    last = pl.col("_turn") == pl.col("_turn").max().over(KEYS[feed])
    again = pl.col("_turn") < pl.col("_turn").max().over(columns)
    fate = pl.when(last).then(pl.lit("records")).when(again).then(pl.lit("duplicates"))
    return rows.select(FILE, fate=fate.otherwise(pl.lit("superseded")))


def accounts(sound: pl.DataFrame, faults: Sequence[PlantedFault]) -> pl.DataFrame:
    """One row a file: rows_read and what became of them."""
    wrong = [{FILE: fault.file, "fate": "set_aside", "len": fault.rows} for fault in faults]
    schema = {FILE: pl.String, "fate": pl.String, "len": pl.Int64}
    counts = sound.group_by(FILE, "fate").len().cast({"len": pl.Int64})
    counts = pl.concat([counts, pl.DataFrame(wrong, schema=schema)])
    each = [pl.col("len").filter(pl.col("fate") == name).sum().alias(name) for name in FATES]
    return counts.group_by(FILE).agg(pl.col("len").sum().alias("rows_read"), *each).sort(FILE)


def planted_toml(
    as_of: str,
    per_file: Mapping[str, pl.DataFrame],
    faults: Sequence[PlantedFault],
    quirks: Sequence[Quirk],
    stories: Mapping[str, Mapping[str, object]],
) -> str:
    """The text of planted.toml."""
    lines = [
        "# What the sample workspace holds on purpose; written by sample_data.generate.",
        f"as_of = {as_of}",
    ]
    for feed, files in per_file.items():
        total = files.select(pl.exclude(FILE).sum()).to_dicts()[0]
        lines += ["", f"[accounts.{feed}]", *(f"{name} = {n}" for name, n in total.items())]
        for row in files.to_dicts():
            counts = ", ".join(f"{name} = {row[name]}" for name in ("rows_read", *FATES))
            lines.append(f'files."{row[FILE]}" = {{ {counts} }}')
    for name, entries in (("faults", faults), ("quirks", quirks)):
        for entry in entries:
            lines += ["", f"[[{name}]]"]
            lines += [f"{key} = {_value(value)}" for key, value in asdict(entry).items()]
    for name, facts in stories.items():
        lines += ["", f"[stories.{name}]"]
        lines += [f"{key} = {_value(value)}" for key, value in facts.items()]
    return "\n".join(lines) + "\n"


def _value(value: object) -> str:
    if isinstance(value, list | tuple):
        return "[" + ", ".join(map(_value, value)) + "]"
    return f'"{value}"' if isinstance(value, str) else str(value)
