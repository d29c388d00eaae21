"""Every action of the desk: its path, what it is given, and the function that does it.

Belongs here: one list, from which the API (`api`), the forms (`forms`) and their description
(`openapi`) are made. Does not belong here: any rule of an action (`pipelines.actions`).
"""

from __future__ import annotations

from pipelines.desk.claim_operations import OF_CLAIMS
from pipelines.desk.operation import Operation
from pipelines.desk.row_operations import OF_ROWS

OPERATIONS: tuple[Operation, ...] = (*OF_CLAIMS, *OF_ROWS)
BY_NAME = {operation.name: operation for operation in OPERATIONS}
