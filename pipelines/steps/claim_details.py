"""What is shown of single claims, for pages, sheets and letters alike.

Belongs here: gathering what the parts of a claim's page rest on, as of the records in the store.
Does not belong here: which claims get a page and what the other pages show (`pages`), how anything
looks (`dashboards`), or any rule.
"""

from __future__ import annotations

import duckdb
import polars as pl

from dashboards import data as shown
from pipelines.counterfactuals import sentences_of, what_would_turn
from pipelines.coverage.clock import unit_terms
from pipelines.coverage.evidence import Evidence, seen
from pipelines.coverage.replacements import all_before, links
from pipelines.coverage.supply_tests import with_supply_test
from pipelines.letters.values import agency_names
from pipelines.steps.cited_rows import cited_rows
from pipelines.steps.letters import claim_facts, letters_of_evidence
from pipelines.store.claim_reads import decisions_around
from pipelines.store.database import has_table, read_frame
from pipelines.store.evidence import evidence_around
from pipelines.store.inputs import Inputs
from pipelines.store.lookups import credits_of, rows_of
from pipelines.units.events import unit_events, with_earlier_lives
from pipelines.water.limits import with_chloramine
from schemas.codes import ANALYTES


def data_of_claims(
    inputs: Inputs, con: duckdb.DuckDBPyConnection, claims: pl.Series, *, alone: bool = False
) -> shown.PageData:
    """What the pages of the named claims show, without the tables of the other pages.

    `alone`: of the tables of claims, too, only what those pages show, which are those of the claims
    and, of the decisions, of the others on their units and at their sites. What the settings hide
    is looked for in all decisions, so that there they come whole.
    """
    wanted = pl.DataFrame({"claim": claims}, schema={"claim": pl.String})
    findings = rows_of(con, "findings", wanted["claim"])
    if alone and not inputs.settings.hide:
        decisions = decisions_around(con, wanted["claim"].to_list())
    else:
        decisions = read_frame(con, "decisions")

    def of_all(table: str, schema: pl.Schema) -> pl.DataFrame:
        if alone and has_table(con, table):
            return rows_of(con, table, wanted["claim"]).cast(schema)
        return read_frame(con, table, schema=schema)

    of_claims = decisions.join(wanted, on="claim", how="semi")
    serials = of_claims["serial"].unique()
    likely = of_claims["serial_suggestion"].drop_nulls()
    evidence = seen(evidence_around(inputs, con, pl.concat([serials, likely]).unique()))
    facts = claim_facts(inputs, evidence, wanted)
    reference = inputs.reference
    return shown.PageData(
        maker=inputs.settings.maker,
        as_of=inputs.as_of,
        timezone=inputs.settings.timezone,
        currency=inputs.settings.currency,
        hide=inputs.settings.hide,
        decisions=decisions,
        findings=findings,
        history=rows_of(con, "decision_history", wanted["claim"]),
        rulings=evidence.rulings,
        payments=of_all("payments", shown.PAYMENTS),
        credits=credits_of(con, wanted["claim"], inputs.as_of),
        counterfactuals=_counterfactuals(inputs, evidence, of_claims),
        evidence_rows=cited_rows(inputs, con, findings),
        events=_events(inputs, evidence, serials),
        cartridge_spans=rows_of(con, "cartridge_spans", serials),
        water_values=_water_values(inputs, evidence, facts),
        units=rows_of(con, "unit_histories", serials),
        letters=letters_of_evidence(inputs, evidence, of_claims, findings, facts),
        letter_templates=inputs.letter_templates,
        regions=reference.regions,
        agencies=agency_names(reference.agencies),
        causes=reference.causes,
        cause_suggestions=of_all("cause_suggestions", shown.CAUSE_SUGGESTIONS),
    )


def _counterfactuals(inputs: Inputs, evidence: Evidence, decisions: pl.DataFrame) -> pl.DataFrame:
    """What would change the verdict of each claim that is not covered."""
    short = decisions.filter(pl.col("verdict") != "covered").sort("claim")
    turned = what_would_turn(evidence, inputs.terms, short)
    return pl.DataFrame(
        {"claim": list(turned), "sentence": [sentences_of(one) for one in turned.values()]},
        schema={"claim": pl.String, "sentence": pl.List(pl.String)},
    ).explode("sentence")


def _events(inputs: Inputs, evidence: Evidence, serials: pl.Series) -> pl.DataFrame:
    """The events of the units, and of those that they took over from."""
    sound = links(evidence.units).filter(pl.col("fault").is_null())
    earlier = all_before(sound.select("serial", "replaces"))
    earlier = earlier.filter(pl.col("serial").is_in(serials.implode()))
    lives = pl.concat([serials, earlier["earlier"]]).unique()
    units = evidence.units.filter(pl.col("serial").is_in(lives.implode()))
    sellers = unit_terms(units, evidence.models, inputs.terms).join(
        inputs.terms.values.select("edition", "family", "sellers"),
        on=["edition", "family"],
        how="left",
    )
    events = unit_events(evidence, lives, sellers.select("serial", "site", "sellers"))
    return with_earlier_lives(events, earlier).filter(pl.col("serial").is_in(serials.implode()))


def _water_values(inputs: Inputs, evidence: Evidence, claims: pl.DataFrame) -> pl.DataFrame:
    """Every reported or limited analyte of the test by which each claim was judged."""
    judged = with_supply_test(claims, evidence, inputs.terms).filter(
        pl.col("test_sample").is_not_null()
    )
    tests = with_chloramine(evidence.water_tests)
    names = (*ANALYTES, "chloramine_mg_l")
    values = tests.unpivot(names, index="sample", variable_name="analyte")
    bounds = tests.unpivot(
        [f"{name}_below" for name in names],
        index="sample",
        variable_name="analyte",
        value_name="below",
    ).with_columns(pl.col("analyte").str.strip_suffix("_below"))
    reported = values.join(bounds, on=["sample", "analyte"])
    grid = judged.select(
        "claim", "edition", "family", sample="test_sample", sampled_on="test_sampled_on"
    ).join(reported, on="sample")
    limits = inputs.terms.water_limits.select("edition", "family", "analyte", "min", "max", "needs")
    value = pl.col("value")
    over = (value > pl.col("max")).fill_null(False) | (value < pl.col("min")).fill_null(False)
    return (
        grid.join(limits, on=["edition", "family", "analyte"], how="left")
        .filter(value.is_not_null() | pl.col("below").is_not_null() | pl.col("needs").is_not_null())
        .with_columns(
            outside=pl.when(pl.col("needs").is_not_null() & value.is_not_null()).then(over)
        )
        .select(shown.WATER_VALUES.names())
    )
