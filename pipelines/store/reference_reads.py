"""What the figures pick from reference tables and terms in the store.

Belongs here: SQL over those tables. Does not belong here: any estimate (`pipelines.field`).
"""

from __future__ import annotations

import duckdb
import polars as pl

from pipelines.store.database import query_frame

# The maximum of each analyte in the newest edition of each family.
_NEWEST_LIMITS = """
select family, analyte, max as "limit", needs
from terms_water_limits join terms_values using (edition, family)
where max is not null
qualify effective_from = max(effective_from) over (partition by family)
order by family, analyte
"""


def cause_classes(con: duckdb.DuckDBPyConnection) -> pl.DataFrame:
    """Each cause with what it means: cause, class, water_related, abilities."""
    return query_frame(
        con, "select cause, class, water_related, abilities from reference_causes order by cause"
    )


def newest_limits(con: duckdb.DuckDBPyConnection) -> pl.DataFrame:
    """The maxima of each family's newest edition: family, analyte, limit, needs."""
    return query_frame(con, _NEWEST_LIMITS)


def families_needing_treatment(con: duckdb.DuckDBPyConnection) -> tuple[str, ...]:
    """Families with a model that needs treatment whatever its water is."""
    families = query_frame(
        con, "select distinct family from reference_models where needs_treatment order by family"
    )
    return tuple(families["family"])


def treatment_systems(con: duckdb.DuckDBPyConnection) -> tuple[tuple[str, tuple[str, ...]], ...]:
    """Each treatment system with what it removes."""
    systems = query_frame(
        con, "select product, removes from reference_treatments where kind = 'system' order by 1"
    )
    return tuple((product, tuple(removes or ())) for product, removes in systems.iter_rows())
