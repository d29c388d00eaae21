"""What would turn a verdict, found by deciding again with facts added or changed.

Belongs here: candidate facts, records as they would be with them, the search for the smallest sets
that turn a verdict, and their sentences. Does not belong here: any rule of cover; every hypothesis
goes through `pipelines.coverage` as real claims do.
"""

from pipelines.counterfactuals.search import what_would_turn
from pipelines.counterfactuals.sentences import as_data, sentences_of
from pipelines.counterfactuals.turns import Counterfactuals, Turn

__all__ = ["Counterfactuals", "Turn", "as_data", "sentences_of", "what_would_turn"]
