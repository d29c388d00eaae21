"""The steps of a refresh: read frames from the store, call the domain, write frames back.

Belongs here: one module a step, their order, and walking them. Does not belong here: rules, Dagster
(`orchestration`), locks, commits and table states (`store`).
"""
