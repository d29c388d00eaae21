"""What a night should look at twice: counts and values that are not as they have been.

Belongs here: the checks that warn, as pure functions of frames. Does not belong here: checks that
stop a refresh (schemas and accounts, `pipelines.orchestration`), and telling anybody.
"""
