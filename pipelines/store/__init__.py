"""DuckDB, the working copy and the swap: how what is computed is kept, and read again.

Belongs here: connections, transactions, publication, invalidation. Does not belong here: rules.
"""
