"""What a command imports before it knows that it has anything to do."""

import subprocess
import sys

import pytest

# What makes tables and pages; a refresh that finds nothing new asks for none of it.
MAKERS = ("schemas.catalog", "pipelines.steps.in_order", "pipelines.engine.works", "altair")
ASKED = """
import sys
import {modules}
print([name for name in {makers!r} if name in sys.modules])
"""


@pytest.mark.parametrize(
    ("modules", "expected"),
    [
        (
            "pipelines.store.up_to_date, pipelines.orchestration.summary, "
            "pipelines.steps.register_seen, pipelines.engine.engines, pipelines.store.leftovers",
            [],
        ),
        ("pipelines.store.transaction", []),
        ("pipelines.steps.in_order", ["schemas.catalog", "pipelines.steps.in_order"]),
    ],
)
def test_what_finds_nothing_new_imports_nothing_that_makes_anything(modules, expected):
    """Asking, and telling the summary, leave alone what a run makes tables and pages with."""
    code = ASKED.format(modules=modules, makers=MAKERS)
    said = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert said.stdout.strip() == str(expected)
