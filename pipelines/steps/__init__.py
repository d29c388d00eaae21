"""The steps of a refresh: read frames from the store, call the domain, write frames back.

Belongs here: one module a step. Does not belong here: rules, the order of steps (`orchestration`),
locks, commits and table states (`store`).
"""
