"""A second opinion on decided claims: which claims a person checks, and how far both agree.

Belongs here: drawing a sample, checking what a person wrote, agreement. Does not belong here: any
rule of a decision, files, pages.
"""
