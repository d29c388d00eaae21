"""What all commands share at the terminal: arguments, printing, faults of the tool.

Belongs here: what is no command of its own. Does not belong here: commands (`pipelines.cli`).
"""
