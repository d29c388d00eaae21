"""Times the worklist of 5,000 open claims in headless Chromium: first paint and each filter.

Run it by hand: `python tests/benchmarks/worklist_speed.py [CLAIMS]`. The aims are a first paint
under 1 s and a filter under 100 ms.
"""

from __future__ import annotations

import importlib.util
import shutil
import sys
import tempfile
import time
from pathlib import Path

import polars as pl
from playwright.sync_api import sync_playwright

from dashboards.site import build_site

SAMPLE = Path(__file__).parents[1] / "unit" / "dashboards" / "page_sample.py"
PAINT = "performance.getEntriesByName('first-contentful-paint')[0].startTime"
# From the change of a control until the browser has laid the new rows out.
TIMED = """([name, value]) => {
  const control = document.querySelector(`[data-filter=${name}]`);
  control.value = value;
  const begun = performance.now();
  control.dispatchEvent(new Event('input', { bubbles: true }));
  document.getElementById('worklist').getBoundingClientRect();
  return performance.now() - begun;
}"""
FILTERS = [
    ("q", "K-0007"),
    ("q", ""),
    ("region", "US-KS"),
    ("agency", "AGENCY3"),
    ("money", "500"),
    ("scope", "all"),
]


def main(count: int) -> None:
    """Prints the seconds of writing and the milliseconds of painting and filtering."""
    spec = importlib.util.spec_from_file_location("page_sample", SAMPLE)
    sample = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(sample)
    data = sample.page_data(count)
    is_open = pl.col("verdict").replace(
        {"covered": "needs_evidence", "not_covered": "needs_review"}
    )
    data = sample.page_data(count, decisions=data.decisions.with_columns(standing=is_open))
    with tempfile.TemporaryDirectory() as folder, sync_playwright() as playwright:
        begun = time.perf_counter()
        build_site(data, Path(folder), data.decisions["claim"].to_list())
        print(f"{count:,} claim pages written in {time.perf_counter() - begun:.1f} s")
        size = sum(path.stat().st_size for path in Path(folder).rglob("*") if path.is_file())
        print(f"{size / 1e6:.0f} MB in all")
        browser = playwright.chromium.launch(
            executable_path=shutil.which("chromium"), args=["--no-sandbox", "--disable-gpu"]
        )
        page = browser.new_page(viewport={"width": 1280, "height": 900})
        page.goto(f"{Path(folder).as_uri()}/index.html")
        page.wait_for_selector("tr.row")
        print(f"first paint {page.evaluate(PAINT):.0f} ms; {page.locator('#shown').inner_text()}")
        for name, value in FILTERS:
            print(f"filter {name}={value!r}: {page.evaluate(TIMED, [name, value]):.0f} ms")
        browser.close()


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 5000)
