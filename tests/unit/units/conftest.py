"""The bench of the coverage tests as a fixture for the tests of this folder."""

import importlib.util
from pathlib import Path

import pytest

_TESTS = next(parent for parent in Path(__file__).parents if parent.name == "tests")
_SPEC = importlib.util.spec_from_file_location("bench", _TESTS / "unit" / "coverage" / "bench.py")
bench_module = importlib.util.module_from_spec(_SPEC)
_SPEC.loader.exec_module(bench_module)


@pytest.fixture(scope="session")
def tools():
    """The functions of the bench."""
    return bench_module
