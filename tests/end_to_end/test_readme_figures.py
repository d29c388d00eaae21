"""The README's lines for one's own figures run on the sample, and give the page's numbers."""

from __future__ import annotations

import re
from pathlib import Path

import polars as pl
import pytest

README = Path(__file__).parents[2] / "README.md"


def test_figures_of_the_readme_are_those_of_the_page(sample, tmp_path, monkeypatch) -> None:
    """Rates by need and by quarter of entry, from the failures and days alone; both are drawn."""
    chapter = README.read_text(encoding="utf-8").split("### Your own figures")[1]
    code = re.search(r"```python\n(.*?)```", chapter, re.S)
    assert code, "the chapter has no lines of Python"
    data = sample[0] / "published" / "data"
    lines = code[1].replace("limeledger-demo/published/data", str(data))
    monkeypatch.chdir(tmp_path)
    made: dict = {}
    exec(compile(lines, "README.md", "exec"), made)
    rates = pl.read_parquet(data / "slice_rates.parquet").filter(
        pl.col("event") == "any", pl.col("dimension_2") == "all"
    )
    for name in ("need", "entry"):
        told = rates.filter(pl.col("dimension_1") == name)
        told = told.select(pl.col("value_1").alias(name), "failures", "unit_years", "rate_per_100")
        own = made[f"by_{name}"].select(name, "failures", "years", "per_100").sort(name)
        assert own.height == told.height > 5
        for column, its in (
            ("failures",) * 2,
            ("years", "unit_years"),
            ("per_100", "rate_per_100"),
        ):
            assert own[column].to_list() == pytest.approx(told.sort(name)[its].to_list(), rel=1e-9)
        assert "vega" in (tmp_path / f"by_{name}.html").read_text(encoding="utf-8")
