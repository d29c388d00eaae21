"""The pages of help/: complete, and true to what checks mappings and terms and decides claims."""

from __future__ import annotations

import re
import tomllib
from datetime import date
from decimal import Decimal
from pathlib import Path

import polars as pl
import pytest

from pipelines.assist.help import help_pages
from pipelines.assist.help import settings as settings_help
from pipelines.assist.help.mapping_examples import (
    ENTRIES,
    JOINS,
    KEYS,
    PHRASES,
    STEPS,
    TESTS,
)
from pipelines.assist.help.terms import readers_of
from pipelines.coverage import seen
from pipelines.coverage.claims import claims_of
from pipelines.coverage.duplicates import with_twins
from pipelines.coverage.judging import CONDITIONS, judge_in_order
from pipelines.records import rule_checks
from pipelines.records.join_checks import JOIN_PARTS
from pipelines.records.mapping_checks import PARTS, faults_of
from pipelines.records.units_of_measure import conversion, units_of
from pipelines.store.help_files import renew_help
from pipelines.terms.descriptions import ABOUT, term_keys
from pipelines.terms.frames import VALUES
from pipelines.terms.shape import terms_shape
from pipelines.workspace.settings import read_settings
from schemas import codes
from tests.unit.coverage import bench

WORKED = Path(__file__).parents[3] / "cases" / "worked_claims"
# Columns of the terms' frame that have another name than their key.
COLUMN_OF = {
    "start": "clock_order",
    "mild": "cartridge_months_mild",
    "normal": "cartridge_months_normal",
    "severe": "cartridge_months_severe",
}


@pytest.fixture(scope="module")
def cases() -> dict[str, list]:
    """By condition the cases of its table, as they are when claims are decided."""
    as_of = date.fromisoformat((WORKED / "expected" / "as_of.txt").read_text().strip())
    evidence, terms = bench.read_workspace(WORKED / "workspace", as_of)
    evidence = seen(evidence)
    claims = with_twins(claims_of(evidence, terms)).sort("claim")
    claims = claims.with_columns(serial_suggestion=pl.lit(None, pl.String))
    found: dict[str, list] = {}
    with pytest.MonkeyPatch.context() as patch:
        for name, condition in CONDITIONS.items():
            judged = condition.judged

            def noted(claims, listed, evidence=(), name=name, judged=judged):
                found[name] = list(listed)
                return judged(claims, listed, evidence)

            patch.setattr(condition, "judged", noted)
        judge_in_order(claims, evidence, terms)
    return found


@pytest.mark.parametrize("name", codes.CONDITIONS)
def test_a_condition_tells_the_outcomes_and_documents_that_it_can_give(cases, name):
    """What it declares is what its table of cases holds, no more and no less."""
    told = CONDITIONS[name].HELP
    assert set(told.outcomes) == {case.outcome for case in cases[name]}
    assert set(told.documents) == {case.document for case in cases[name] if case.document}
    assert told.looks_at
    assert all(told.outcomes.values())
    assert set(CONDITIONS[name].CLAUSE.terms) <= {
        read for read in told.reads for read in (read, read.rpartition(".")[0])
    } | set(told.reads)


def test_every_key_of_the_terms_is_described_and_read():
    """Keys of the shape and descriptions are the same; each is read by somebody."""
    keys = {key.path: key for key in term_keys()}
    assert set(keys) == set(ABOUT)
    assert len(keys) > 35
    for path, key in keys.items():
        assert readers_of(path) or key.read_by, path
        assert key.is_required != bool(key.default), path
        assert key.type
    roots = set(terms_shape([], codes.ABILITIES).keys) - {"family"}
    assert {path.partition(".")[0] for path in keys} == roots


def used_in(name):
    """The keys of terms whose columns a condition's module names."""
    source = Path(str(CONDITIONS[name].__file__)).read_text(encoding="utf-8")
    return [
        key.path
        for key in term_keys()
        if (column := COLUMN_OF.get(key.path.rpartition(".")[2], key.path.rpartition(".")[2]))
        in VALUES
        and column != "edition"
        and f'"{column}"' in source
    ]


def test_conditions_name_the_keys_whose_columns_they_use():
    """A column of the terms that a condition's module names stands among its keys."""
    used = {name: found for name in codes.CONDITIONS if (found := used_in(name))}
    assert len(used) > 5
    for name, paths in used.items():
        reads = CONDITIONS[name].HELP.reads
        assert all(any(f"{path}.".startswith(f"{r}.") for r in reads) for path in paths), name


def test_every_key_step_and_test_of_a_mapping_has_an_example():
    """None is missing and none is made up."""
    assert set(KEYS) == set(PARTS)
    assert set(STEPS) == set(rule_checks.VERBS)
    assert set(TESTS) == set(rule_checks.TESTS)
    assert set(JOINS) == set(JOIN_PARTS)
    assert set(ENTRIES) == set(rule_checks.ENTRY_PARTS)
    assert set(PHRASES) == set(rule_checks.PHRASE_PARTS)


def faults(feed: str, text: str) -> list:
    """What the mapping reader finds wrong."""
    return list(faults_of(feed, tomllib.loads(text, parse_float=Decimal)))


@pytest.mark.parametrize("key", KEYS)
def test_an_example_of_a_key_reads_without_a_fault(key):
    """As it stands on the page, in a mapping of a feed that may have it."""
    example = KEYS[key][1]
    feed = {"layout": "water_tests", "analytes": "water_tests", "constants": "water_tests"}.get(
        key, "startups" if key == "units" else "service_calls"
    )
    more = 'layout = "long"\n' if key == "analytes" else ""
    assert faults(feed, f"{more}{example}\n") == []
    assert key in tomllib.loads(example)


@pytest.mark.parametrize("verb", STEPS)
def test_an_example_of_a_step_reads_without_a_fault(verb):
    """On the column that it is for; a split needs a key that tells the parts apart."""
    _, example, column = STEPS[verb]
    feed = "startups" if column == "drain_air_gap_in" else "service_calls"
    key = '[columns]\ncall = { join = ["Call", "#part"] }\n' if verb == "split" else ""
    assert faults(feed, f"{key}[transforms]\n{column} = [{example}]\n") == []


@pytest.mark.parametrize("test", TESTS)
def test_an_example_of_a_test_reads_without_a_fault(test):
    """In an entry with a reason and a header."""
    entry = f'[[leave_out]]\nreason = "r"\nheader = "H"\n{TESTS[test][1]}\n'
    assert faults("service_calls", entry) == []


@pytest.mark.parametrize("part", JOINS)
def test_an_example_of_a_part_of_a_join_reads_without_a_fault(part):
    """In a join that has what every join needs."""
    needed = {one: JOINS[one][1] for one in ("name", "files", "on")} | {part: JOINS[part][1]}
    entry = "\n".join(needed.values())
    assert faults("service_calls", f"[[join]]\n{entry}\n") == []


@pytest.mark.parametrize("part", ENTRIES)
def test_an_example_of_a_part_of_an_entry_reads_without_a_fault(part):
    """Beside what it goes with: a reason, and for a header a test."""
    test = TESTS["is"][1] if part == "header" else 'first_cell = ["x"]' if part == "reason" else ""
    lines = {"reason": ENTRIES["reason"][1], "test": test, part: ENTRIES[part][1]}
    entry = "\n".join(lines.values())
    assert faults("service_calls", f"[[leave_out]]\n{entry}\n") == []


@pytest.mark.parametrize("part", ["any", "matches", "otherwise"])
def test_an_example_of_a_phrase_reads_without_a_fault(part):
    """With its code."""
    entry = f"[[phrases.cause]]\n{PHRASES[part][1]}\n{PHRASES['code'][1]}\n"
    assert faults("service_calls", entry) == []


def test_what_the_page_lists_reads_as_it_is_written_there():
    """Each unit of the page fits its columns, each word is one; those of water, gas, pH among
    them."""
    page = help_pages()["help/mappings.md"]
    rows = [
        [re.findall("`([^`]+)`", cell) for cell in line.strip("| ").split(" | ")]
        for line in page[page.index("## Units") : page.index("## Columns")].splitlines()
        if line.startswith("| `")
    ]
    units = {column: set(listed) for columns, listed in rows for column in columns}
    assert {"ppm as CaCO3", "mmol/L", "gpg"} <= units["hardness_mg_l_caco3"]
    assert {"hPa", "inWC", "mmH2O", '"WC'} <= units["gas_pressure_in_wc"]
    assert {"S.U.", "std units", "standard units", "pH units", "-"} <= units["ph"]
    misread = [(c, u) for c, listed in units.items() for u in listed if not conversion(c, u)]
    assert misread == []
    words = page[page.index("## Words") :]
    assert "| `point` of water_tests | `supply`, `treated` |" in words
    assert faults("water_tests", '[constants]\npoint = "treated"\n') == []


def test_units_on_the_page_are_those_that_are_read():
    """Every unit that is told converts, the feed's own among them."""
    assert "gpg" in units_of("hardness_mg_l_caco3")
    assert "psi" in units_of("flowing_pressure_psi")
    assert "F" in units_of("supply_temperature_f")
    for column in ("hardness_mg_l_caco3", "flowing_pressure_psi", "silica_mg_l", "sediment_um"):
        assert units_of(column)
        assert all(conversion(column, unit) is not None for unit in units_of(column))


def test_pages_are_renewed_where_they_are_no_longer_true(tmp_path):
    """Written once, left alone while they are right, made good where somebody changed them."""
    pages = help_pages()
    assert sorted(path.name for path in renew_help(tmp_path)) == [
        "conditions.md",
        "mappings.md",
        "settings.md",
        "terms.md",
    ]
    assert renew_help(tmp_path) == []
    changed = tmp_path / "help" / "terms.md"
    changed.write_text("mine", encoding="utf-8")
    assert renew_help(tmp_path) == [changed]
    assert changed.read_text(encoding="utf-8") == pages["help/terms.md"]
    for name in codes.CONDITIONS:
        assert f". {name}\n" in pages["help/conditions.md"]
    for key in term_keys():
        assert f"`{key.path}`" in pages["help/terms.md"]
    for name in (*PARTS, *rule_checks.VERBS, *rule_checks.TESTS):
        assert name in pages["help/mappings.md"]


def test_every_setting_is_told_with_what_its_check_asks_for():
    """No setting without its meaning, none that is not one; the engine's are among them."""
    paths = settings_help.setting_paths()
    assert sorted(settings_help.ABOUT) == sorted(paths)
    assert all(settings_help.holds(path) for path in paths)
    page = help_pages()["help/settings.md"]
    for row in (
        '| `engine.kind` | Who works on the parts of the fleet. | "local" (this process) or "ray" '
        '(a cluster) | `"local"` |',
        "| `engine.parts` | Into how many parts the fleet goes; a group of units stays whole. | a "
        "whole number from 0 to 100000; 0 makes one part for each 250,000 units | `0` |",
        "| `nightly.at` | When the nightly refresh begins, in the workspace's time zone. | hours "
        'and minutes, such as "02:15" | `"02:15"` |',
    ):
        assert f"{row}\n" in page


def test_defaults_that_the_page_tells_change_nothing(tmp_path):
    """Settings with every default written out are those without."""
    rows = [line.split(" | ") for line in settings_help.settings_page().splitlines()]
    told = {row[0][3:-1]: row[3].strip("` |") for row in rows if row[3:] and row[3][0] == "`"}
    assert len(told) > 25
    assert {path.split(".")[0] for path in told} >= {"engine", "storage", "desk", "limits"}
    needed = 'maker = "M"\ntimezone = "UTC"\ncurrency = "USD"\n'
    bare, full = tmp_path / "bare.toml", tmp_path / "full.toml"
    bare.write_text(needed)
    full.write_text(needed + "".join(f"{path} = {value}\n" for path, value in told.items()))
    assert read_settings(full) == read_settings(bare)
