"""What is known of a unit over its life: exposure, treatment states, histories and dated events.

Belongs here: facts laid out in time. Does not belong here: what they mean for one claim
(`pipelines.coverage`) or for the fleet (`pipelines.field`).
"""
