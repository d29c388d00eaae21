"""Drafts of mappings for exports that nobody has described: judged by names and by values.

Belongs here: what a file may be, why, and the draft as data and as TOML. Does not belong here:
reading files, what a mapping may say (`pipelines.records`), applying anything; a person does that.
"""
