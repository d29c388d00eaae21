"""The views of the store: tables laid side by side, for whoever builds on them.

Belongs here: picking and joining in SQL. Does not belong here: any rule. What belongs to a unit by
its site, what a complete test is and which seller is approved stands in tables that the code that
decides claims has filled (`unit_samples`, `unit_orders`).
"""

from __future__ import annotations

import datetime as dt

import duckdb

from pipelines.store.database import identifier
from schemas.catalog import VIEWS

# A record keeps its hash where its file comes again with the rows elsewhere, so that it is found by
# its key; by its place too only where two keys read alike in words.
_EVIDENCE = """
select claim, position, condition, number, feed, key, file, line,
    coalesce(placed.row_sha256, keyed.row_sha256) as row_sha256,
    coalesce(placed.arrived_on, keyed.arrived_on) as arrived_on
from (
    select claim, position, condition, number, unnest(cited)
    from (
        select claim, position, condition, generate_subscripts(evidence, 1) as number,
            unnest(evidence) as cited
        from findings
    )
) left join (
    select feed, key, file, line, min(row_sha256) as row_sha256, max(arrived_on) as arrived_on
    from archived_rows where left_on is null group by all
) placed using (feed, key, file, line) left join (
    select feed, key, min(row_sha256) as row_sha256, max(arrived_on) as arrived_on
    from archived_rows where left_on is null group by all having count(*) = 1
) keyed using (feed, key)
"""
_CLAIM_OVERVIEW = """
select d.*, a.agency_name, c.part, c.notes, u.shipped_on, u.purchased_on, u.installed_on,
    r.ruled_at, r.ruled_by, r.ruling_reason,
    d.parts_claimed + d.labor_claimed + d.travel_claimed as total_claimed,
    d.parts_payable + d.labor_payable + d.travel_payable as total_payable,
    d.parts_standing + d.labor_standing + d.travel_standing as total_standing,
    p.state as payment_state, p.total_credited, p.last_credited_on
from decisions d
left join service_calls c using (call)
left join units u on u.serial = d.serial
left join (
    select agency, arg_max(name, authorized_from) as agency_name from reference_agencies group by 1
) a on a.agency = d.agency
left join (
    select claim, max(ruled_at) as ruled_at, arg_max(ruled_by, ruled_at) as ruled_by,
        arg_max(reason, ruled_at) as ruling_reason
    from rulings, as_of where cast(ruled_at as date) <= as_of.day group by 1
) r on r.claim = d.claim
left join payments p on p.claim = d.claim
"""
_UNIT_OVERVIEW = """
select u.*, h.* exclude (serial, model, region, site, replaces),
    coalesce(c.calls, 0) as calls, coalesce(c.repairs, 0) as repairs,
    coalesce(d.claims, 0) as claims, coalesce(t.water_tests, 0) as water_tests,
    t.latest_sample, t.latest_sampled_on
from units u
join unit_histories h using (serial)
left join (
    select serial, count(*) as calls, count(*) filter (kind = 'repair') as repairs
    from service_calls, as_of where opened_on <= as_of.day group by 1
) c using (serial)
left join (select serial, count(*) as claims from decisions group by 1) d using (serial)
left join (
    select s.serial, count(*) as water_tests, max(w.sampled_on) as latest_sampled_on,
        arg_max(s.sample, (w.sampled_on, s.sample)) as latest_sample
    from unit_samples s join water_tests w using (sample) group by 1
) t using (serial)
"""
_UNIT_EVENTS = """
with seen_units as (select units.* from units semi join unit_histories using (serial)),
calls as (
    select c.*, d.failed_on as decided_failed_on from service_calls c
    left join decisions d using (call), as_of where c.opened_on <= as_of.day
),
reports as (
    select startups.* from startups, as_of
    where coalesce(requested_on, completed_on, as_of.day) <= as_of.day
),
samples as (
    select s.serial as of_unit, w.* from unit_samples s join water_tests w using (sample)
),
orders as (
    select o.serial as of_unit, p.*, concat(p."order", '-', p.line) as cited from unit_orders o
    join treatment_purchases p using ("order", line)
),
fitted as (
    select serial as of_unit, * exclude (serial) from calls where kind = 'treatment_install'
    union
    select u.serial, c.* exclude (serial) from calls c join units o using (serial)
    join seen_units u on u.site = o.site where c.kind = 'treatment_install'
),
told(serial, day, feed, key, event, file, line) as (
    select serial, shipped_on, 'units', serial, 'shipped', source_file, source_line
        from seen_units
    union all select serial, purchased_on, 'units', serial, 'purchased', source_file, source_line
        from seen_units
    union all select serial, installed_on, 'units', serial, 'installed', source_file, source_line
        from seen_units
    union all select serial, retired_on, 'units', serial, 'retired', source_file, source_line
        from seen_units
    union all select serial, requested_on, 'startups', report, 'startup requested', source_file,
        source_line from reports
    union all select serial, completed_on, 'startups', report, 'startup completed', source_file,
        source_line from reports
    union all select serial, treatment_installed_on, 'startups', report, 'treatment installed',
        source_file, source_line from reports
    union all select of_unit, completed_on, 'service_calls', call, 'treatment installed',
        source_file, source_line from fitted
    union all select of_unit, sampled_on, 'water_tests', sample, 'water sampled', source_file,
        source_line from samples
    union all select of_unit, ordered_on, 'treatment_purchases', cited, 'treatment ordered',
        source_file, source_line from orders
    union all select serial, opened_on, 'service_calls', call, 'call opened', source_file,
        source_line from calls
    union all select serial, coalesce(decided_failed_on, failed_on), 'service_calls', call,
        'failed', source_file, source_line from calls
    union all select serial, completed_on, 'service_calls', call, 'call completed', source_file,
        source_line from calls
    union all select serial, claimed_on, 'service_calls', call, 'claimed', source_file, source_line
        from calls where claim is not null
    union all select d.serial, cast(r.ruled_at as date), 'rulings',
        concat(r.claim, '-', strftime(r.ruled_at, '%Y-%m-%d %H:%M:%S.%f')), 'ruled',
        r.source_file, r.source_line from rulings r join decisions d using (claim)
    union all select serial, credited_on, 'credits', cited, 'credited', first.file, first.line
        from (
            select d.serial, c.credited_on, concat_ws('-', c.claim, c.credited_on, c.credit)
                as cited, min({'file': c.source_file, 'line': c.source_line}) as first
            from credits c join decisions d using (claim) group by all
        )
)
select told.* from told semi join seen_units using (serial), as_of where told.day <= as_of.day
"""
_UNIT_WATER_TESTS = """
select s.serial, w.* exclude (serial), p.profile, p.needs, s.complete
from unit_samples s join water_tests w using (sample) left join water_profiles p using (sample)
"""
_UNIT_PURCHASES = """
select o.serial, p.* exclude (serial), t.kind, t.fits, t.removes as abilities, o.approved_seller,
    o.bought_new
from unit_orders o join treatment_purchases p using ("order", line)
left join reference_treatments t using (product)
"""
_SQL = {
    "evidence": _EVIDENCE,
    "claim_overview": _CLAIM_OVERVIEW,
    "unit_overview": _UNIT_OVERVIEW,
    "unit_events": _UNIT_EVENTS,
    "unit_water_tests": _UNIT_WATER_TESTS,
    "unit_purchases": _UNIT_PURCHASES,
}


def make_views(con: duckdb.DuckDBPyConnection, as_of: dt.date) -> None:
    """Puts every view in the store, as of a day; its columns stand in the catalog's order."""
    for name, view in VIEWS.items():
        columns = ", ".join(identifier(column.name) for column in view.columns)
        day = as_of.isoformat()
        con.execute(
            f"create or replace view {identifier(name)} as "
            f"with as_of as (select cast('{day}' as date) as day), joined as ({_SQL[name]}) "
            f"select {columns} from joined"
        )
