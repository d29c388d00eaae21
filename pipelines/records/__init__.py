"""Text rows of exports to typed records, and the account of what became of every row.

Belongs here: mappings, parsing, units of measure, the long laboratory layout, row accounting,
mapping drafts. Does not belong here: reading files (`pipelines.exports`), what a record means for
a claim (`pipelines.coverage`).
"""
