"""Dated warranty terms: TOML files in, checked frames out.

Belongs here: which keys an edition has, what is wrong with one, and the frames for the rules.
Does not belong here: which edition applies to a unit and what follows (`pipelines.coverage`).
"""

from pipelines.terms.editions import Edition
from pipelines.terms.frames import Terms
from pipelines.terms.loading import load_terms, terms_from_files
from pipelines.terms.other import OtherTerms, other_terms

__all__ = ["Edition", "OtherTerms", "Terms", "load_terms", "other_terms", "terms_from_files"]
