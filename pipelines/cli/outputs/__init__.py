"""What the JSON of a command holds, where that takes more than a few lines.

Belongs here: schemas of outputs, one module a command. Does not belong here: making the output
(the commands), or how a day or an amount is described (`schemas.json_schema`).
"""
