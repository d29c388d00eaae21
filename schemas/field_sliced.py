"""What all sliced field figures share: dimensions, thin marks and notes.

Belongs here: their common columns. Does not belong here: any figure.
"""

from schemas import codes
from schemas.columns import Table, flag, text

EVENT_WORDS = (*codes.EVENTS, *codes.CAUSE_CLASSES, "unknown")


class Sliced(Table):
    """The columns of every sliced figure."""

    by: str = text("The dimensions it is sliced by, joined by `,`; `all` for none.", required=True)
    family: str = text("The family; `all` where not sliced.", required=True)
    region: str = text("The region; `all` where not sliced.", required=True)
    profile: str = text("The water profile; `all` where not sliced.", required=True)
    cause_class: str = text("The cause's class; `all` where not sliced.", required=True)
    startup: str = text("Whether the start-up was done; `all` where not sliced.", required=True)
    treatment: str = text("The state of the treatment; `all` where not sliced.", required=True)
    thin: bool = flag("Fewer than 5 failures or 10 units at risk: never ranked.", required=True)
    note: str = text("Why a figure is missing, or how to read it.")
