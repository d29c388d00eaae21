"""A refresh that is killed: readers keep complete pages, and the next one makes it as if never.

The kills come at moments drawn with a seed, and at those between the steps of the last change of
names, which chance would hardly find.
"""

import functools
import json
import random
import re
import shutil
from pathlib import Path

import polars as pl
import pytest

KILLS = 8
HOOK = """
real = {target}

def die(*arguments, **named):
    if os.path.exists({manifest!r}):
        os.kill(os.getpid(), signal.SIGKILL)
    return real(*arguments, **named)

{target} = die
"""
# Dies a drawn while after it has put a drawn number of tables in their place.
HOOK_AT = """
import threading
from pipelines.store.transaction import RefreshSession
put, puts = RefreshSession.put, []

def put_and_die(self, *writers):
    puts.append(writers)
    if len(puts) == {at}:
        threading.Timer({delay}, os.kill, (os.getpid(), signal.SIGKILL)).start()
    return put(self, *writers)

RefreshSession.put = put_and_die
"""
CALLS = "exports/service_calls/calls_2025-12-20.csv"
CORRECTED = ("2024-09-10,NORTHSTAIR,technician,,BOARD", "2025-09-10,NORTHSTAIR,technician,,BOARD")


def _correct(workspace: Path) -> None:
    """A delivery: corrected calls, and a register file that is new."""
    path = workspace / CALLS
    text = path.read_text()
    assert CORRECTED[0] in text
    path.write_text(text.replace(*CORRECTED))
    header = (workspace / "exports/units/register.csv").read_text().splitlines()[0]
    row = "K0001,CO-1,2024-01-02,2024-01-10,2024-01-20,SITE-16,Worked kitchen 16,US-NM,00000,"
    (workspace / "exports/units/more.csv").write_text(f"{header}\n{row}\n")


def _assert_complete(workspace: Path) -> None:
    """What a reader needs: pages and tables of one refresh, and every claim page that is linked."""
    folder = workspace / "published"
    manifest = json.loads((folder / "manifest.json").read_text())
    index = (folder / "index.html").read_text()
    assert f'datetime="{manifest["as_of"]}"' in index
    for link in set(re.findall(r'href="(claims/[^"#]+)"', index)):
        assert (folder / link).is_file(), link
    decisions = pl.read_csv(folder / "data" / "decisions.csv", infer_schema=False)
    assert decisions.height == 36
    late = decisions.filter(pl.col("claim") == "W01")["verdict"][0]
    moved = pl.read_csv(folder / "data" / "decision_history.csv", infer_schema=False)
    assert moved.height == (36 if late == "covered" else moved["claim"].n_unique() + 1)
    assert index.rstrip().endswith("</html>")


@pytest.fixture(scope="module")
def undisturbed(claims, tmp_path_factory, tools, run, day):
    """The store and the pages after a delivery that nothing disturbed."""
    folder = shutil.copytree(claims[0], tmp_path_factory.mktemp("undisturbed") / "workspace")
    _correct(folder)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("pipelines.steps.figures.figure_tables", tools["empty_figures"])
        run("refresh", folder, "--as-of", day)
    _assert_complete(folder)
    return tools["store"](folder), tools["pages"](folder)


def _assert_as_undisturbed(workspace, undisturbed, run, tools, day) -> None:
    call = run("refresh", workspace, "--as-of", day)
    assert call.code == 1, call.err
    assert tools["differing"](undisturbed[0], tools["store"](workspace)) == []
    pages = tools["pages"](workspace)
    assert [n for n in {*pages, *undisturbed[1]} if pages.get(n) != undisturbed[1].get(n)] == []
    left = sorted(path.name for path in (workspace / "store").iterdir())
    assert left == ["archive", "limeledger.duckdb", "refresh.lock", "runs.jsonl"]
    assert not (workspace / "published.new").exists()
    assert not (workspace / "published.old").exists()


def test_kills_at_any_moment_leave_pages_whole_and_lose_nothing(
    workspace, undisturbed, start, script, run, tools, day, no_figures, capfd
):
    """Killed eight times at drawn moments, the same delivery still ends like an undisturbed one."""
    _correct(workspace)
    draw = random.Random(20251231)
    killed = 0
    for _ in range(KILLS):
        hook = HOOK_AT.format(at=draw.randint(1, 8), delay=draw.uniform(0, 0.3))
        process = start(functools.partial(exec, script(workspace, hook), {}))
        process.join(120)
        killed += process.exitcode == -9
        _assert_complete(workspace)
    assert killed >= KILLS // 2
    _assert_as_undisturbed(workspace, undisturbed, run, tools, day)


# Just before the new pages, then the new store take their names; before the old pages are removed.
MOMENTS = [
    "session.swap_folder",
    "session.os.replace",
    "session.shutil.rmtree",
]


@pytest.mark.parametrize("target", MOMENTS)
def test_kills_between_the_last_names_lose_nothing(
    workspace, undisturbed, start, script, run, tools, day, target, no_figures, capfd
):
    """Between new pages and new store the next refresh finds the same things new once more."""
    _correct(workspace)
    # All is staged by then; and after the exchange the old pages stand under the staging name.
    manifest = str(workspace / "published.new" / "manifest.json")
    hook = HOOK.format(target=target, manifest=manifest)
    code = script(workspace, hook)
    process = start(functools.partial(exec, code, {}))
    process.join(120)
    assert process.exitcode == -9
    _assert_complete(workspace)
    if target == "session.shutil.rmtree":
        # All is done; only the old pages are left, for the next refresh that has work to do.
        assert run("refresh", workspace, "--as-of", day).code == 1
        assert tools["differing"](undisturbed[0], tools["store"](workspace)) == []
    else:
        _assert_as_undisturbed(workspace, undisturbed, run, tools, day)
