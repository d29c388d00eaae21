"""Dagster's side of the product: assets, checks, the job, its schedule and its sensor.

Belongs here: thin wiring, three moves an asset: take from the session, call, write. Does not
belong here: anything that computes.
"""
