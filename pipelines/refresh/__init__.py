"""One refresh from exports to pages: what is read from the store, worked on, and written back.

Belongs here: the order of work between the domain packages and the store. Does not belong here:
rules, formulas, SQL beyond whole tables (`pipelines.warehouse`), scheduling (`pipelines.defs`).
"""
