"""pandera for polars frames, imported without the half of it that is for pandas.

Belongs here: the import alone; whoever needs pandera imports it from here. Does not belong here:
what is validated.

pandera loads its half for pandas, and pandas with it, wherever that is installed, as it is with
statsmodels; its strategies for tests do the same with hypothesis. We validate polars frames alone,
and most commands would wait longer for these two than for anything else that they do.
"""

from __future__ import annotations

import sys
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from importlib.machinery import ModuleSpec
from types import ModuleType

_NOT_NEEDED = ("pandas", "hypothesis")


class _Absent:
    """Finds no module of these names, as if they were not installed."""

    def find_spec(
        self, name: str, path: Sequence[str] | None = None, target: ModuleType | None = None
    ) -> ModuleSpec | None:
        if name in _NOT_NEEDED:
            raise ModuleNotFoundError(f"No module named {name!r}", name=name)
        return None


@contextmanager
def _without_the_rest() -> Iterator[None]:
    absent = _Absent()
    sys.meta_path.insert(0, absent)
    try:
        yield
    finally:
        sys.meta_path.remove(absent)


with _without_the_rest():
    import pandera.polars as pa
    from pandera.backends.polars.register import register_polars_backends
    from pandera.backends.register_checks import register_default_check_backends
    from pandera.errors import SchemaErrors

    register_polars_backends()
    if "pandas" not in sys.modules:  # else it is too late to leave that half out
        # What the first validation would look for.
        register_default_check_backends(pa.PolarsData)

__all__ = ["SchemaErrors", "pa"]
