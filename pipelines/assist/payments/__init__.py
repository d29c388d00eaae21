"""What was paid for claims, beside what stands: nothing twice, and nothing forgotten.

Belongs here: adding up credits and comparing them with decisions. Does not belong here: how a claim
is decided (`pipelines.coverage`).
"""
