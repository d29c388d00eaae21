"""One module a command, each with `run(args) -> exit code`; all heavy imports happen inside.

Belongs here: calling the pipeline and saying what came of it. Does not belong here: the work.
"""
