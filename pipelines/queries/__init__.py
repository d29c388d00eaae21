"""What people ask of a refreshed workspace, one module a question; everything here only reads.

Belongs here: gathering an answer from the store. Does not belong here: writing anything, or how an
answer is shown (`cli`, `dashboards`).
"""
