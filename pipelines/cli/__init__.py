"""One module a command, each with HELP, `add_arguments(parser)` and `run(args) -> exit code`.

Belongs here: what a command takes, calling the pipeline, and saying what came of it. Does not
belong here: the work; what all commands share (`console`); what their JSON holds (`outputs`).
A command's module imports in milliseconds: what is heavy is imported where it runs.
"""
