"""Which codes and names exports use, how they spell them, and drafts of reference files from them.

Belongs here: putting spellings together, and the tables of drafts. Does not belong here: reading
exports (`pipelines.queries.code_lists`), reference files that count (`pipelines.workspace`).
"""
