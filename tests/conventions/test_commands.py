"""The commands: each a module of `pipelines.cli` that brings its arguments and imports lightly."""

from __future__ import annotations

import inspect
import subprocess
import sys
from pathlib import Path

import pytest

from pipelines.cli.main import COMMANDS, module_of

ROOT = Path(__file__).parents[2]
HEAVY = ("polars", "duckdb", "pandera", "numpy", "altair", "dagster", "jinja2", "pyarrow")


def test_every_module_of_the_room_is_a_command() -> None:
    """What is no command stands in a room of its own below `pipelines/cli`."""
    modules = {path.stem for path in (ROOT / "pipelines" / "cli").glob("*.py")}
    assert modules - {"__init__", "__main__", "main"} == {n.replace("-", "_") for n in COMMANDS}


@pytest.mark.parametrize("command", COMMANDS)
def test_a_command_brings_help_arguments_and_run(command: str) -> None:
    """One sentence of help, and both functions with the one parameter that `main` gives."""
    module = module_of(command)
    assert module.HELP.endswith(".")
    assert list(inspect.signature(module.add_arguments).parameters) == ["parser"]
    assert list(inspect.signature(module.run).parameters) == ["args"]


def imported_by(code: str) -> set[str]:
    """The top-level packages that a process of its own has loaded behind this code."""
    told = "print(*sorted({name.partition('.')[0] for name in sys.modules}))"
    done = subprocess.run(
        [sys.executable, "-c", f"import sys; {code}; {told}"],
        capture_output=True,
        text=True,
        check=True,
        cwd=ROOT,
    )
    return set(done.stdout.split())


def test_help_imports_nothing_heavy() -> None:
    """All commands' arguments are read without the libraries that the work needs."""
    imported = imported_by("from pipelines.cli.main import build_parser; build_parser()")
    assert "argparse" in imported
    assert not imported & set(HEAVY), "import it inside `run`, or in the function that needs it"


def test_explaining_a_claim_imports_nothing_that_it_does_not_use() -> None:
    """What fills pages, reads sheets or looks for near misses waits until it is wanted."""
    imported = imported_by("import pipelines.queries.explanation")
    assert {"polars", "duckdb"} <= imported
    assert not imported & {"altair", "dagster", "jinja2", "openpyxl", "rapidfuzz", "starlette"}
