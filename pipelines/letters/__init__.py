"""Letters to agencies: what each says of a decided claim, for many claims at once.

Belongs here: decisions, findings and rulings in, sentences and values out. Does not belong here:
templates, messages, files and pages.
"""

from pipelines.letters.values import letters_of

__all__ = ["letters_of"]
