"""CPU seconds for the reviews, recommendations and journeys of a large fleet.

Run: python tests/benchmarks/startups_million.py [UNITS]   (default 1,000,000). Not a test: times
depend on the machine. The aim is below 25 CPU s for a million units, the frames at hand.
"""

from __future__ import annotations

import datetime as dt
import resource
import sys
import time
from collections import Counter
from dataclasses import fields
from pathlib import Path

import polars as pl

sys.path.insert(0, str(Path(__file__).parents[2]))

from pipelines.coverage import Evidence, seen
from pipelines.engine.startup_part import SLICE_UNITS as PART_UNITS
from pipelines.startups.held_treatment import held_treatment
from pipelines.startups.installation_findings import (
    completed_reports,
    installation_findings,
    judged_readings,
)
from pipelines.startups.journey_rates import journey_rates
from pipelines.startups.journeys import journeys
from pipelines.startups.reviewed_units import reviewed
from pipelines.startups.startup_reviews import startup_reviews
from pipelines.startups.treatment_recommendations import treatment_recommendations
from pipelines.store.inputs import load_inputs
from pipelines.terms import Terms
from sample_data import AS_OF
from sample_data.generate import SEED, Shape, copy_written, make_feeds
from schemas import codes
from schemas.feeds import record_schema


def typed(frame: pl.DataFrame, schema: pl.Schema) -> pl.DataFrame:
    """Text as the readers of the exports would have it."""
    parts = []
    for name, kind in schema.items():
        text = pl.col(name)
        if name.endswith("_below"):
            bound = pl.col(name.removesuffix("_below")).str.strip_prefix("<")
            is_bound = pl.col(name.removesuffix("_below")).str.starts_with("<")
            parts.append(pl.when(is_bound).then(bound).cast(kind, strict=False).alias(name))
        elif name not in frame.columns:
            parts.append(pl.lit(0 if name == "source_line" else None).cast(kind).alias(name))
        elif kind == pl.Boolean:
            parts.append((text == "yes").alias(name))
        elif kind == pl.List(pl.String):
            parts.append(text.fill_null("").str.split(" ").alias(name))
        elif frame.schema[name] == kind:
            parts.append(text)
        else:
            parts.append(text.cast(kind, strict=False).alias(name))
    return frame.select(parts)


def fleet(units: int, seed: int, folder: Path) -> tuple[Evidence, Terms]:
    """The records of so many units of the sample's kind, and its terms with all keys."""
    feeds = make_feeds(Shape(units), seed)
    records = {field.name: getattr(feeds, field.name) for field in fields(feeds)}
    frames = {
        feed: typed(records.get(feed, pl.DataFrame()), record_schema(feed))
        if records.get(feed, pl.DataFrame()).width
        else pl.DataFrame(schema=record_schema(feed))
        for feed in codes.FEEDS
    }
    copy_written(folder)
    (folder / "exports").mkdir(exist_ok=True)
    inputs = load_inputs(folder, AS_OF)
    books = {name: getattr(inputs.reference, name) for name in codes.REFERENCES}
    evidence = Evidence(**frames, **books, through=dict.fromkeys(codes.FEEDS, AS_OF), as_of=AS_OF)
    return seen(evidence), inputs.terms


def main(folder: Path) -> None:
    """Times each function, a part of the fleet at a time, as the step does."""
    units = int(sys.argv[1]) if len(sys.argv) > 1 else 1_000_000
    spent: Counter[str] = Counter()
    rows: Counter[str] = Counter()
    ways = []
    last = 0.0

    def told(what: str, frame: pl.DataFrame) -> None:
        nonlocal last
        now = time.process_time()
        spent[what] += now - last
        rows[what] += frame.height
        last = now

    for part in range(-(-units // PART_UNITS)):
        evidence, terms = fleet(min(units, PART_UNITS), SEED + part, folder)
        cover = evidence.units.select(
            "serial", coverage_end=pl.col("shipped_on") + dt.timedelta(days=900)
        )
        last = time.process_time()
        look = reviewed(evidence, terms, cover)
        told("units and tests", look.tests)
        reports = completed_reports(look)
        readings = judged_readings(look, reports)
        told("installation_findings", installation_findings(readings))
        reviews = startup_reviews(look, reports, readings)
        told("startup_reviews", reviews)
        held = held_treatment(look)
        told("systems held", held.systems)
        advised = treatment_recommendations(look, held, duty_hours_per_day=10.0, tanks_l=[60, 190])
        told("treatment_recommendations", advised)
        ways.append(journeys(look, held, reviews))
        told("journeys", ways[-1])
    whole = pl.concat(ways)
    last = time.process_time()
    told("journey_rates", journey_rates(whole, AS_OF))
    for what, seconds in spent.items():
        print(f"{what}: {rows[what]:,} rows, {seconds:.1f} CPU s")
    print(f"all: {sum(spent.values()):.1f} CPU s for {whole.height:,} units")
    print(f"peak memory: {resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024:,.0f} MiB")


if __name__ == "__main__":
    import tempfile

    with tempfile.TemporaryDirectory() as scratch:
        main(Path(scratch))
