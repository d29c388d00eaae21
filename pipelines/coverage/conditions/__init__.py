"""The twenty conditions of cover, one module each, named for what must be true.

Belongs here: modules that declare their `CLAUSE` and the `FACTS` that they need, with one function
`judge(claims, evidence)` that returns one finding a claim. A new condition is one more module, and
its name in `schemas.codes.CONDITIONS`. Does not belong here: look-ups that several conditions
share, and what the findings add up to.

`claims` is the wide frame of all claims in order of their numbers: the columns of
`coverage.claims.claims_of` and of `with_twins`, serial_suggestion, and the declared facts. It grows
on the way: what a condition found before any switching off stands there under the condition's name
for those after.
"""
