"""The twenty conditions of cover, one module each, named for what must be true.

Belongs here: modules with one function `judge(claims, evidence, terms)` that returns one finding a
claim. Does not belong here: look-ups that several conditions share, and what the findings add up
to.

`claims` is the wide frame of all claims in order of their numbers. It grows on the way: what a
condition found before any switching off stands there under the condition's name for those after.
"""
