"""store/archive/: every decision ever published, in files that are only ever added to.

Belongs here: the chain of files and its index, writing and reading them. Does not belong here: what
stands in the tables (`tables`, called by `pipelines.steps.archive`), or deciding again
(`pipelines.queries.reproduction`).
"""
