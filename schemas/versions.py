"""The version of the tables' schema, as store, manifest and data package tell it.

Belongs here: the version. Does not belong here: the tables.
"""

SCHEMA_VERSION = "2.0.0"
