"""Water treatment of a unit: what was bought for it, when it was fitted, what served it since.

Belongs here: purchases, installations and cartridge changes that count for a unit, whatever the
day. Does not belong here: whether cartridges lasted (`cartridges`), what a failure date and the
water make of it (`claim_treatment`).

A purchase is a unit's by its serial, or by its site where it names no serial. A service call at
another unit of the same site counts as well.
"""

from __future__ import annotations

import polars as pl

from pipelines.coverage.evidence import Evidence, citation


def purchases_for(
    units: pl.DataFrame, purchases: pl.DataFrame, treatments: pl.DataFrame
) -> pl.DataFrame:
    """Every purchase that counts for a unit: one row a unit and order line.

    Args:
        units: serial, site, sellers (list of approved sellers; null: none approved).
        purchases: records of treatment purchases.
        treatments: the reference file.

    Returns:
        serial (of the unit), order, line, ordered_on, product, quantity, condition, seller,
        approved, good (new and approved), kind, fits, removes, purchase_source.
    """
    bought = purchases.join(
        treatments.select("product", "kind", "fits", "removes"), on="product"
    ).with_columns(purchase_source=citation("treatment_purchases"))
    # A serial says more than a site: a line that names both is of that unit alone.
    own = bought.filter(pl.col("serial").is_not_null()).drop("site")
    parts = [units.select("serial", "sellers").join(own, on="serial")]
    if units["site"].count():
        shared = bought.filter(pl.col("serial").is_null() & pl.col("site").is_not_null())
        placed = units.select("serial", "site", "sellers")
        parts.append(placed.join(shared.drop("serial"), on="site"))
    approved = pl.col("sellers").list.contains(pl.col("seller")).fill_null(False)
    columns = (
        "serial",
        "order",
        "line",
        "ordered_on",
        "product",
        "quantity",
        "condition",
        "seller",
        "sellers",
        "kind",
        "fits",
        "removes",
        "purchase_source",
    )
    return (
        pl.concat([part.select(columns) for part in parts])
        .with_columns(approved=approved)
        .with_columns(good=(pl.col("condition") == "new") & pl.col("approved"))
        .drop("sellers")
    )


def good_systems(bought: pl.DataFrame) -> pl.DataFrame:
    """The systems of each unit bought new from an approved seller, by product.

    Returns:
        serial, product, removes, bought_on (the first such order), purchase_source (its).
    """
    return (
        bought.filter((pl.col("kind") == "system") & pl.col("good"))
        .sort("serial", "product", "ordered_on", "order", "line")
        .group_by("serial", "product", maintain_order=True)
        .agg(pl.col("removes", "purchase_source").first(), bought_on=pl.col("ordered_on").first())
    )


def installations(
    systems: pl.DataFrame, units: pl.DataFrame, calls: pl.DataFrame, startups: pl.DataFrame
) -> pl.DataFrame:
    """Adds to systems (serial, site, product, …) when each was installed; null without proof.

    The earliest of completed installation calls for that product, for the unit or at its site, and
    of the unit's start-up reports with that product.

    Args:
        units: the whole register (serial, site), to know the site of a call's unit.
        calls: all service calls; startups: all start-up reports.

    Returns:
        systems with installed_on and installation_source.
    """
    served = served_at(systems, units, calls, "treatment_install")
    reported = startups.filter(pl.col("treatment_installed_on").is_not_null()).select(
        "serial",
        product="treatment_product",
        done_on="treatment_installed_on",
        done_source=citation("startups"),
    )
    by_reports = systems.select("serial", "product").join(reported, on=["serial", "product"])
    first = (
        pl.concat([served, by_reports])
        .sort("serial", "product", "done_on", "done_source")
        .group_by("serial", "product", maintain_order=True)
        .first()
        .rename({"done_on": "installed_on", "done_source": "installation_source"})
    )
    return systems.join(first, on=["serial", "product"], how="left")


def served_at(
    systems: pl.DataFrame, units: pl.DataFrame, calls: pl.DataFrame, kind: str
) -> pl.DataFrame:
    """Completed calls of one kind for each system's product, at the unit or at its site.

    Returns:
        serial and product of the system, done_on, done_source; a call counts once.
    """
    keys = systems.select("serial", "site", "product").unique()
    done = (
        calls.filter(
            (pl.col("kind") == kind)
            & pl.col("completed_on").is_not_null()
            & pl.col("product").is_not_null()
        )
        .select(
            "product",
            done_serial="serial",
            done_on="completed_on",
            done_source=citation("service_calls"),
        )
        .join(keys.select("product").unique(), on="product", how="semi")
    )
    columns = ["serial", "product", "done_on", "done_source"]
    at_unit = keys.join(done, left_on=["serial", "product"], right_on=["done_serial", "product"])
    parts = [at_unit.select(columns)]
    if systems["site"].count():
        sites = units.select(done_serial="serial", site="site")
        placed = done.join(sites.filter(pl.col("site").is_not_null()), on="done_serial")
        parts.append(keys.join(placed, on=["site", "product"]).select(columns))
    # A call at the unit is one at its site too.
    return pl.concat(parts).unique()


def first_fitted(units: pl.DataFrame, evidence: Evidence) -> pl.DataFrame:
    """The first day on which any system at all was installed, whoever bought it (18).

    Args:
        units: serial, site.
        evidence: what is seen as of its as-of date.

    Returns:
        serial, fitted_on; one row a unit that has one.
    """
    systems = evidence.treatments.filter(pl.col("kind") == "system").select("product")
    done = evidence.service_calls.filter(
        (pl.col("kind") == "treatment_install") & pl.col("completed_on").is_not_null()
    ).join(systems, on="product", how="semi")
    sites = evidence.units.select("serial", "site").filter(pl.col("site").is_not_null())
    at_site = (
        done.select("serial", "completed_on")
        .join(sites, on="serial")
        .group_by("site")
        .agg(day=pl.col("completed_on").min())
    )
    reported = evidence.startups.filter(pl.col("treatment_installed_on").is_not_null()).join(
        systems, left_on="treatment_product", right_on="product", how="semi"
    )
    return (
        pl.concat(
            [
                done.select("serial", day="completed_on"),
                units.select("serial", "site").join(at_site, on="site").select("serial", "day"),
                reported.select("serial", day="treatment_installed_on"),
            ]
        )
        .group_by("serial")
        .agg(fitted_on=pl.col("day").min())
    )


def needing_cartridges(treatments: pl.DataFrame) -> pl.DataFrame:
    """The systems for which treatments.csv lists a cartridge: one column, product."""
    return (
        treatments.filter((pl.col("kind") == "cartridge") & pl.col("fits").is_not_null())
        .select(product="fits")
        .unique()
    )


def cartridges_bought(bought: pl.DataFrame) -> pl.DataFrame:
    """Good cartridges of each unit: serial, product (the system they fit), ordered_on, order,
    line, quantity, purchase_source."""
    return bought.filter((pl.col("kind") == "cartridge") & pl.col("good")).select(
        "serial",
        "ordered_on",
        "order",
        "line",
        "quantity",
        "purchase_source",
        product="fits",
    )
