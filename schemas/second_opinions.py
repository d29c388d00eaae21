"""Second opinions on decided claims, and how far they agree with the rules.

Belongs here: the shape of the tables. Does not belong here: how a sample is drawn or agreement is
estimated (`pipelines.assist.second_opinions`).
"""

import polars as pl

from schemas import codes
from schemas.columns import MOMENT, Table, flag, integer, moment, number, text, word


class SecondOpinions(Table):
    """One row is what a person who did not see the verdict thought of one claim, at one moment."""

    claim: str = text("The claim.", required=True, key=True)
    checked_at: MOMENT = moment("When the opinion was recorded.", required=True, key=True)
    checked_by: str = text("Whose opinion it is.", required=True, key=True)
    verdict: str = word("The person's verdict.", codes.VERDICTS, required=True)
    computed: str = word("The verdict of the rules at the draw.", codes.VERDICTS, required=True)
    agrees: bool = flag("Whether both are the same.", required=True)
    counts: bool = flag("Whether it is the claim's latest opinion, which counts.", required=True)
    band: str = word("The third of what is claimed.", codes.MONEY_BANDS, required=True)
    drawn_at: MOMENT = moment("When the claim was drawn.", required=True)
    seed: str = text("The seed of the draw.", required=True)
    note: str = text("What the person noted.")


class SecondOpinionAgreement(Table):
    """One row is how far people and rules agree, by one way of weighting the opinions."""

    weighting: str = word(
        "Every opinion once (`none`), or strata by their claims.",
        ("none", "claims"),
        required=True,
    )
    opinions: pl.Int64 = integer("Claims with an opinion.", required=True)
    agreeing: pl.Int64 = integer("Of them, those where both say the same.", required=True)
    agreement: float = number("The share of agreement.")
    agreement_low: float = number("Its lower 95 % limit.")
    agreement_high: float = number("Its upper 95 % limit.")
    expected_agreement: float = number("The share that chance alone would give.")
    kappa: float = number("Cohen's kappa: agreement beyond chance.")
    kappa_error: float = number("Its large-sample standard error.")
    kappa_low: float = number("Its lower 95 % limit.")
    kappa_high: float = number("Its upper 95 % limit.")
    strata: pl.Int64 = integer("Verdicts and money bands with an opinion.", required=True)
    claims: pl.Int64 = integer("Claims now in those strata.")
    claims_share: float = number("Their share of all claims.")
    method: str = text("How it is estimated.", required=True)
    note: str = text("Why a figure is missing, or how to read it.")
