"""The invented page data for tests of the pages."""

from __future__ import annotations

import importlib.util
from pathlib import Path
from types import ModuleType

import pytest


@pytest.fixture(scope="session")
def sample() -> ModuleType:
    """The module that makes page data (`page_sample.py`)."""
    spec = importlib.util.spec_from_file_location(
        "page_sample", Path(__file__).parent / "page_sample.py"
    )
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module
