"""The folder that a company keeps: its settings, reference files, lock, and how a new one is made.

Belongs here: files that people write and that are not exports. Does not belong here: exports
(`pipelines.exports`), the store (`pipelines.store`), the meaning of terms (`pipelines.terms`).
"""
