"""What would change a verdict, told by `explain` and on the claim's page."""

import html

import polars as pl

from dashboards.formats import file_name


def chosen(folder, published, verdicts):
    """One claim with a page for each verdict."""
    decisions = published(folder, "decisions").filter(pl.col("verdict") == pl.col("standing"))
    paged = decisions.filter(
        pl.col("claim").map_elements(
            lambda claim: (folder / "published" / "claims" / file_name(claim)).exists(),
            return_dtype=pl.Boolean,
        )
    )
    return {v: paged.filter(pl.col("verdict") == v)["claim"][-1] for v in verdicts}


def test_explain_and_the_page_tell_the_same(sample, run, tools):
    """The command decides again from the store and comes to what the refresh wrote down."""
    folder, _ = sample
    wanted = ("not_covered", "needs_evidence", "needs_review", "covered_in_part")
    claims = chosen(folder, tools["published"], wanted)
    assert set(claims) == set(wanted)
    for verdict, claim in claims.items():
        told = run("explain", claim, folder, "--json").json
        assert told["verdict"] == verdict
        assert told["would_change_it"]
        page = (folder / "published" / "claims" / file_name(claim)).read_text(encoding="utf-8")
        for sentence in told["would_change_it"]:
            assert html.escape(sentence) in page
        for turn in told["turned_by"]:
            assert turn["verdict"] in ("covered", "covered_in_part")
            assert all(fact["words"] for fact in turn["facts"])
            possible = all(fact["standing"] != "past" for fact in turn["facts"])
            assert turn["still_possible"] == possible


def test_a_covered_claim_needs_nothing(sample, run, tools):
    """It says so, and nothing is tried."""
    folder, _ = sample
    claim = chosen(folder, tools["published"], ("covered",))["covered"]
    told = run("explain", claim, folder, "--json").json
    assert told["would_change_it"] == ["Nothing is short: the claim is covered."]
    assert told["turned_by"] == []


def test_terms_that_changed_since_the_refresh_ask_for_one(workspace, run):
    """The store's decision is still told; what would change it must wait."""
    decisions = pl.read_csv(workspace / "published" / "data" / "decisions.csv", infer_schema=False)
    claim = decisions.filter(pl.col("lead_reason") == "filed_in_time")["claim"][0]
    before = run("explain", claim, workspace, "--json").json["would_change_it"]
    assert "had the claim been filed by" in before[0] or "a filing date" in before[0]
    terms = sorted((workspace / "terms").glob("*.toml"))
    originals = {path: path.read_text(encoding="utf-8") for path in terms}
    for path, text in originals.items():
        path.write_text(text.replace("file_within_days = ", "file_within_days = 9"), "utf-8")
    changed = run("explain", claim, workspace)
    assert changed.code == 0
    assert "refresh first" in changed.out
    wrong = originals[terms[0]].replace("[coverage]", "[coverage]\nparts_years = 2")
    terms[0].write_text(wrong, "utf-8")
    broken = run("explain", claim, workspace)
    assert broken.code == 0
    assert f"terms/{terms[0].name} line " in " ".join(broken.out.split())
    assert "parts_years is not a known key" in " ".join(broken.out.split())
