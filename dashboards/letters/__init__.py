"""Letters to agencies as text, HTML and mail messages.

Belongs here: templates, those that a company puts in the place of ours, and what is made with them.
Does not belong here: what a letter says (it arrives as values, `schemas.letters`).
"""

from dashboards.letters.message import letter_message
from dashboards.letters.templates import LetterTemplates, TemplateFault

__all__ = ["LetterTemplates", "TemplateFault", "letter_message"]
