"""Repairs and claims as conditions on `service_calls`, for queries that filter in the store.

Belongs here: the SQL of `pipelines.records.repairs`, to which a test holds it. Does not belong
here: any other rule.
"""

from __future__ import annotations

IS_REPAIR = "kind = 'repair'"
IS_CLAIM = f"({IS_REPAIR} and claim is not null)"
