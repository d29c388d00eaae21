"""What stands of each claim that an agency has to be told: kind, basis, address.

Belongs here: decisions in, matters of the register out. Does not belong here: which letters follow
from them (`register`), or the letters' words (`values`).
"""

from __future__ import annotations

import polars as pl

from pipelines.coverage.money import LINES
from pipelines.letters.matters import STANDING, basis_of
from pipelines.letters.values import addresses
from pipelines.terms.frames import DOCUMENTS_WITHIN_DAYS

_AMOUNTS = tuple(f"{line}_standing" for line in LINES)
_DECIDED = ("standing", "lead_reason", "missing", *_AMOUNTS)
_RULED = ("ruled_at", "ruling", *_AMOUNTS)


def standing_claims(
    decisions: pl.DataFrame,
    findings: pl.DataFrame,
    rulings: pl.DataFrame,
    agencies: pl.DataFrame,
    terms_values: pl.DataFrame,
) -> pl.DataFrame:
    """One row a claim in the shape of `matters.STANDING`.

    Without a ruling the basis is the claim with its standing, lead reason, missing documents and
    standing amounts; of a claim that needs review only where the records do not agree, since
    nobody outside has anything else to do. With a ruling it is the claim with its moment, the
    ruling and the standing amounts.

    Args:
        decisions: the claims to look at.
        findings: at least those of `records_agree` of these claims.
        rulings: claim, ruled_at: the latest that stands of each claim.
        agencies: the reference file.
        terms_values: edition, family, documents_within_days.
    """
    disputed = findings.filter(
        (pl.col("condition") == "records_agree") & (pl.col("outcome") == "disputed")
    ).select("claim", records_disputed=pl.lit(True))
    rows = (
        decisions.join(disputed, on="claim", how="left")
        .join(rulings.select("claim", "ruled_at").unique("claim"), on="claim", how="left")
        .join(addresses(agencies), on="agency", how="left")
        .join(
            terms_values.select("edition", "family", "documents_within_days"),
            on=["edition", "family"],
            how="left",
        )
        .with_columns(kind=_kind())
    )
    return (
        rows.with_columns(basis=_bases(rows))
        .with_columns(
            serial=pl.lit(None, pl.String),
            report=pl.lit(None, pl.String),
            sample=pl.lit(None, pl.String),
            email="agency_email",
            within_days=pl.col("documents_within_days").fill_null(DOCUMENTS_WITHIN_DAYS),
            closes=pl.lit(False),
        )
        .select(STANDING.names())
        .cast(STANDING)
        .sort("claim")
    )


def _kind() -> pl.Expr:
    """The kind of letter that what stands calls for; null where nobody outside is to be told."""
    review = pl.col("standing") == "needs_review"
    return (
        pl.when(pl.col("ruling").is_not_null())
        .then(pl.lit("ruling"))
        .when(review & pl.col("records_disputed").fill_null(False))
        .then(pl.lit("question"))
        .when(~review & (pl.col("standing") == "needs_evidence"))
        .then(pl.lit("documents"))
        .when(~review)
        .then(pl.lit("decision"))
    )


def _bases(rows: pl.DataFrame) -> pl.Series:
    """The basis of each row; null without a kind."""
    decided, ruled = (
        pl.concat_str(
            *(
                pl.format("{}={}", pl.lit(name), pl.col(name).cast(pl.String).fill_null("\x00"))
                for name in ("claim", *names)
            ),
            separator="\x1e",
        )
        for names in (_DECIDED, _RULED)
    )
    texts = rows.select(
        pl.when(pl.col("kind") == "ruling")
        .then(ruled)
        .when(pl.col("kind").is_not_null())
        .then(decided)
    ).to_series()
    # Polars has no digest that is the same on every machine.
    digests = [None if text is None else basis_of(text) for text in texts]
    return pl.Series("basis", digests, dtype=pl.String)
