"""An installed copy has every file that the code reads, not the code alone."""

import tomllib
from pathlib import Path

ROOT = Path(__file__).parents[2]
# Of the README, which is not installed.
NOT_READ = "dashboards/pictures"


def test_every_file_that_is_no_code_is_package_data():
    """Templates, styles, tables and sample data: what only a checkout had, the desk lacked."""
    built = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
    told = built["tool"]["setuptools"]["package-data"]
    found = built["tool"]["setuptools"]["packages"]["find"]["include"]
    carried = {
        path.relative_to(ROOT)
        for package, patterns in told.items()
        for pattern in patterns
        for path in (ROOT / package).glob(pattern)
    }
    read = {
        path.relative_to(ROOT)
        for package in found
        for path in (ROOT / package.rstrip("*")).rglob("*")
        if path.is_file() and path.suffix not in (".py", ".pyc") and NOT_READ not in str(path)
    }
    assert len(read) > 60
    assert read - carried == set()
