"""Every claim under other terms beside the terms in force.

Belongs here: which verdicts move and why, and the money. Does not belong here: deciding
(`pipelines.coverage`), storage and pages.
"""

from pipelines.what_if.comparison import Comparison, compare

__all__ = ["Comparison", "compare"]
