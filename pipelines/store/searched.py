"""What can be searched of the store: claims, units, agencies, sites, and rows that are no records.

Belongs here: reading it, for a search at the desk and for that of the static pages. Does not belong
here: what matches (`pipelines.worklist.search`).
"""

from __future__ import annotations

from collections.abc import Collection

import duckdb
import polars as pl

from pipelines.store.database import query_frame
from schemas.codes import FEEDS
from schemas.search import SEARCHED, THINGS

# By kind, as rows of `schemas.search.THINGS`. A unit is found by all that is told of it by its
# serial, a site by what is of the site. A claim has its serial itself: its unit may be on no
# register.
_CLAIMS = """
select 'claim' as kind, d.claim, d.call, d.serial, d.agency, d.site, d.verdict,
    'service_calls' as feed, c.source_file as file, c.source_line as line,
    f.reason, '/claims/' || url_encode(d.claim) as url,
    [d.claim, d.call, d.serial, d.agency, a.name, d.site, d.site_name] as fields,
    [d.claim, d.call] as numbers, d.failed_on
from decisions d
left join service_calls c on c.call = d.call
left join (select agency, max_by(name, authorized_from) as name from reference_agencies group by 1)
    a on a.agency = d.agency
left join findings f on f.claim = d.claim and f.condition = d.lead_reason
"""
_UNITS = """
with told as (
    select serial, call as number from service_calls where serial is not null
    union select serial, report from startups where serial is not null
    union select serial, sample from water_tests where serial is not null
    union select serial, "order" from treatment_purchases where serial is not null
), numbers as (select serial, list(number order by number) as numbers from told group by serial)
select 'unit' as kind, null as claim, null as call, u.serial, null as agency, u.site,
    null as verdict, 'units' as feed, u.source_file as file, u.source_line as line, null as reason,
    '/units/' || url_encode(u.serial) as url,
    list_concat([u.serial, u.site, u.site_name], coalesce(n.numbers, [])) as fields,
    list_concat([u.serial], coalesce(n.numbers, [])) as numbers, null::date as failed_on
from units u left join numbers n using (serial)
"""
_SITES = """
with told as (
    select site, sample as number from water_tests where site is not null
    union select site, "order" from treatment_purchases where site is not null
), numbers as (select site, list(number order by number) as numbers from told group by site),
names as (
    select site, max(site_name) as site_name from units where site is not null group by site
    union all select site, null from (select site from numbers except select site from units)
)
select 'site' as kind, null as claim, null as call, null as serial, null as agency, s.site,
    null as verdict, null as feed, null as file, null::bigint as line, s.site_name as reason,
    '/search?q=' || url_encode(s.site) as url,
    list_concat([s.site, s.site_name], coalesce(n.numbers, [])) as fields,
    list_concat([s.site], coalesce(n.numbers, [])) as numbers, null::date as failed_on
from names s left join numbers n using (site)
"""
_AGENCIES = """
select 'agency' as kind, null as claim, null as call, null as serial, agency, null as site,
    null as verdict, null as feed, null as file, null::bigint as line,
    max_by(name, authorized_from) as reason, '/search?q=' || url_encode(agency) as url,
    list_concat([agency], list(name)) as fields, [agency] as numbers, null::date as failed_on
from reference_agencies group by agency
"""
# The cells of a row as it landed, parted by its file's own delimiter and not within quotation
# marks; a sheet's cells are parted by tabs.
_CELLS = (
    "case coalesce(p.delimiter, chr(9)) "
    + " ".join(
        f'when {sign} then regexp_extract_all(l.raw, \'"(?:[^"]|"")*"|[^{pattern}]+\')'
        for sign, pattern in (("','", ","), ("';'", ";"), ("'|'", "|"), ("chr(9)", r"\t"))
    )
    + " else [l.raw] end"
)


def things_of(con: duckdb.DuckDBPyConnection) -> pl.DataFrame:
    """All that is searched, in the shape of `schemas.search.THINGS`."""
    parts = [query_frame(con, sql) for sql in (_CLAIMS, _UNITS, _SITES, _AGENCIES)]
    return pl.concat(
        [*(part.select(THINGS.names()).cast(THINGS) for part in parts), no_records(con)]
    )


def no_records(con: duckdb.DuckDBPyConnection) -> pl.DataFrame:
    """The rows that are set aside or superseded, as `things_of` has them."""
    parts = [query_frame(con, _no_records(feed)) for feed in FEEDS]
    return pl.concat([part.select(THINGS.names()).cast(THINGS) for part in parts])


def things_near(
    con: duckdb.DuckDBPyConnection,
    claims: Collection[str],
    serials: Collection[str],
    sites: Collection[str],
) -> pl.DataFrame:
    """Those of some claims, units and sites alone, as `things_of` has them."""
    queries = (_CLAIMS, "claim", claims), (_UNITS, "serial", serials), (_SITES, "site", sites)
    parts = [
        query_frame(
            con,
            f"select * from ({sql}) where {column} in (select unnest(?::varchar[]))",
            [sorted(wanted)],
        )
        for sql, column, wanted in queries
    ]
    return pl.concat([part.select(THINGS.names()).cast(THINGS) for part in parts])


def _no_records(feed: str) -> str:
    """The rows of a feed that are set aside, or superseded by one of other content: any column
    as typed is a field."""
    return f"""
with rows as (
    select 'set_aside' as kind, file, sheet, line, min(reason) as reason,
        list(distinct value) as typed
    from set_aside where feed = '{feed}' group by file, sheet, line
    union all
    select distinct 'superseded', file, sheet, line,
        'Another row of the same number counts in its place.', []::varchar[]
    from row_fates where feed = '{feed}' and fate = 'superseded'
)
select r.kind, null as claim, null as call, null as serial, null as agency, null as site,
    null as verdict, '{feed}' as feed, r.file, r.line, r.reason,
    '/set-aside?file=' || url_encode(r.file) || '&line=' || r.line as url,
    list_concat(coalesce({_CELLS}, []), r.typed) as fields,
    []::varchar[] as numbers, null::date as failed_on
from rows r left join landed_{feed} l
    on l.file = r.file and l.sheet = coalesce(r.sheet, '') and l.line = r.line
left join (
    select file, sheet, min(delimiter) as delimiter from file_parts where feed = '{feed}'
    group by all
) p on p.file = r.file and p.sheet = coalesce(r.sheet, '')
"""


def searched_alone(things: pl.DataFrame) -> pl.DataFrame:
    """Claims and rows that are no records, each with all by which it is found.

    For pages that search without the store: a claim has the numbers and names of its unit, its site
    and its agency among its own fields, as each of these would bring it.

    Args:
        things: rows of THINGS.

    Returns:
        Rows of `schemas.search.SEARCHED`, claims first.
    """
    of_kind = pl.col("kind")
    claims = things.filter(of_kind == "claim")
    for kind, key in (("unit", "serial"), ("site", "site"), ("agency", "agency")):
        of_it = things.filter((of_kind == kind) & pl.col(key).is_not_null()).select(
            key, more="fields"
        )
        claims = claims.join(of_it, on=key, how="left", maintain_order="left").with_columns(
            fields=pl.col("fields").list.concat(pl.col("more").fill_null([]))
        )
        claims = claims.drop("more")
    rows = things.filter(of_kind.is_in(["set_aside", "superseded"]))
    searched = pl.concat([claims, rows]).with_columns(
        fields=pl.col("fields").list.drop_nulls().list.unique(maintain_order=True)
    )
    return searched.select(SEARCHED.names())
