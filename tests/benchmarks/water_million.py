"""Time and memory for a million water tests: `python tests/benchmarks/water_million.py`.

Not a test: times depend on the machine. The aim is below 60 s on two cores.
"""

import resource
import sys
import time
from datetime import date
from pathlib import Path

import numpy as np
import polars as pl

sys.path.insert(0, str(Path(__file__).parents[2]))

from pipelines.water.analysis import analyses_of, with_water
from pipelines.water.equilibrium import equilibria
from pipelines.water.profiles import profile_samples
from schemas import codes
from schemas.columns import polars_schema
from schemas.feeds import WaterTests


def supplies(count: int) -> pl.DataFrame:
    """Random supplies, soft to very hard, as records of `water_tests`."""
    random = np.random.default_rng(1)
    calcium = 10 ** random.uniform(0.3, 2.7, count)
    columns = {
        "sample": [f"T{place:07d}" for place in range(count)],
        "site": [f"S{place % 50_000}" for place in range(count)],
        "point": ["supply"] * count,
        "sampled_on": [date(2025, 1, 1)] * count,
        "ph": random.uniform(6.0, 9.6, count),
        "hardness_mg_l_caco3": calcium * random.uniform(1.05, 2.0, count),
        "calcium_mg_l_caco3": calcium,
        "alkalinity_mg_l_caco3": 10 ** random.uniform(0.8, 2.65, count),
        "chloride_mg_l": 10 ** random.uniform(0.0, 2.4, count),
        "sulfate_mg_l": 10 ** random.uniform(0.0, 2.4, count),
        "silica_mg_l": 10 ** random.uniform(0.0, 1.9, count),
        "temperature_c": random.uniform(4.0, 30.0, count),
    }
    frame = pl.DataFrame(columns)
    missing = {
        name: dtype for name, dtype in polars_schema(WaterTests).items() if name not in columns
    } | {f"{name}_below": pl.Float64() for name in codes.ANALYTES}
    return frame.with_columns(pl.lit(None, dtype).alias(n) for n, dtype in missing.items())


def main() -> None:
    """Times the equilibrium alone and the whole table."""
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 1_000_000
    tests = supplies(count)
    units = pl.DataFrame({"serial": ["U1"], "site": ["S1"], "edition": ["A"], "family": ["Beck"]})
    limits = pl.DataFrame(
        {
            "edition": ["A"],
            "family": ["Beck"],
            "analyte": ["hardness_mg_l_caco3"],
            "min": [None],
            "max": [100.0],
            "needs": ["scale"],
            "mild_at": [100.0],
            "severe_at": [250.0],
        },
        schema_overrides={"min": pl.Float64},
    )
    values = pl.DataFrame(
        {
            "edition": ["A"],
            "family": ["Beck"],
            "effective_from": [date(2020, 1, 1)],
            "panel": [["hardness_mg_l_caco3"]],
        }
    )

    begin = time.perf_counter()
    equilibria(analyses_of(with_water(tests, None)))
    print(f"equilibrium of {count} waters: {time.perf_counter() - begin:.1f} s")
    begin = time.perf_counter()
    profile_samples(
        tests, units, limits, values, calcium_share_of_hardness=None, conductivity_to_tds=0.65
    )
    print(f"water_profiles of {count} samples: {time.perf_counter() - begin:.1f} s")
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    print(f"peak memory: {peak:.0f} MiB")


if __name__ == "__main__":
    main()
