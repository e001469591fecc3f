"""Killing imports: each is ended with SIGKILL at another moment; the study must hold all of its readings or none.

python tests/benchmarks/killing.py KILLS [ROWS]
"""

from __future__ import annotations

import os
import random
import shutil
import signal
import sys
import tempfile
import time
from collections import Counter
from datetime import UTC, datetime
from pathlib import Path

from study.commands.opening import begin_study, open_study
from study.commands.read_import import import_file
from study.commands.register import register_file
from study.model.person import Signature
from study.store.chain import broken_links
from study.store.coupons import fetch_codes
from study.store.imports import count_readings, fetch_layouts
from study.store.pulls import save_pulls
from study.store.study_file import StudyFile

SIGNATURE = Signature(by="R. Vale", at=datetime(2026, 6, 2, 9, tzinfo=UTC), why="To be killed.")
FILES = {
    "adhesives": ["adhesive,name,composition_class,formulation_version", "a,Gel A,other,1"],
    "lots": ["lot,adhesive", "L,a"],
    "substrates": ["substrate,name,preparation,stands_for", "s,sheet,cleaned,display surface"],
    "environments": ["environment,name", "room,room"],
    "sets": [
        "set,lot,substrate,environment,protocol,placed_on,dot_diameter_mm,dots",
        "S,L,s,room,display-dots,2024-01-15,8,3",
    ],
}  # fmt: skip
PER_ROW = 3


def prepared(folder: Path, rows: int) -> tuple[Path, Path]:
    """A study with pulled coupons, and a laboratory's sheet of their readings."""
    from study.model.pull import PullEvent

    path, sheet = folder / "whole.sqlite", folder / "sheet.csv"
    begin_study(path, institution="An invented museum", signature=SIGNATURE)
    with open_study(path) as study:
        for kind, lines in {**FILES, "coupons": ["set,test,pull,count", f"S,pull-off-dot,3 months,{rows}"]}.items():
            table = folder / f"{kind}.csv"
            table.write_text("\n".join(lines) + "\n", "utf-8")
            register_file(study, kind, table, signature=SIGNATURE)
        codes = fetch_codes(study)
        day = datetime(2024, 4, 15, tzinfo=UTC).date()
        with study.change(SIGNATURE, act="record pulls", subject="all") as change:
            save_pulls(study, [PullEvent(code, "pulled", day) for code in codes], change=change)
    lines = [f"{code};16/04/2024;5,{n % 10};AF;object;{n % 4}" for n, code in enumerate(codes)]
    sheet.write_text("\n".join(["Specimen;Date tested;Force (N);Failure mode;Side;Residue", *lines]) + "\n", "utf-8")
    return path, sheet


def work(path: Path, sheet: Path) -> None:
    """The import itself, in the process that is to be killed."""
    answers = {"residue scale": "0 to 5, 0 is clean"}
    with open_study(path) as study:
        import_file(study, sheet, answers=answers, remember="sheet", signature=SIGNATURE)


def started(path: Path, sheet: Path, after_s: float | None) -> None:
    """Start the import in a process of its own and, after a while, end it as no program can prevent; None: let it be.

    Parameters
    ----------
    after_s : float, optional
        When it is killed, from its start [s].
    """
    child = os.fork()
    if child == 0:
        status = 1
        try:
            work(path, sheet)
            status = 0
        finally:
            os._exit(status)
    if after_s is not None:
        time.sleep(after_s)
        os.kill(child, signal.SIGKILL)
    os.waitpid(child, 0)


def state(study: StudyFile) -> tuple[int, int, int, int]:
    """Readings, sheets kept, layouts and lines of the change log."""
    count = study.rows("SELECT count(*) AS n FROM imports")[0]["n"]
    return count_readings(study), count, len(fetch_layouts(study)), study.last_change()


def main(kills: int, rows: int, *, seed: int = 1) -> int:
    """Kill so many imports; print what was found after them; 1 if one left anything but all or nothing."""
    chance = random.Random(seed)
    found: Counter[str] = Counter()
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        whole, sheet = prepared(folder, rows)
        with open_study(whole) as study:
            before = state(study)
        after = (rows * PER_ROW, 1, 1, before[3] + 1)
        spans = []
        for number in range(5):
            trial = Path(shutil.copy(whole, folder / f"trial-{number}.sqlite"))
            start = time.perf_counter()
            started(trial, sheet, None)
            spans.append(time.perf_counter() - start)
        span = sorted(spans)[2]
        for number in range(kills):
            path = Path(shutil.copy(whole, folder / "own.sqlite"))
            # Two thirds anywhere, a third about the end, where the journal is written and taken away.
            after_s = chance.uniform(0, 1.3) if number % 3 else chance.uniform(0.75, 1.15)
            started(path, sheet, after_s * span)
            journal = Path(f"{path}-journal")
            found["journals left behind"] += journal.exists() and journal.stat().st_size > 0
            with open_study(path) as study:
                now = state(study)
                sound = study.rows("PRAGMA integrity_check")[0]["integrity_check"] == "ok"
                sound &= not list(broken_links(study.db.conn))
            found["none" if now == before else "all" if now == after else "SOMETHING BETWEEN"] += 1
            found["UNSOUND"] += not sound
            journal.unlink(missing_ok=True)
            path.unlink()
    told = ", ".join(f"{what}: {count}" for what, count in found.items() if count)
    print(f"{kills} imports of {rows} rows killed within {span:.2f} s: {told}", flush=True)
    return int(found["SOMETHING BETWEEN"] > 0 or found["UNSOUND"] > 0 or not found["none"])


if __name__ == "__main__":
    sys.exit(main(int(sys.argv[1]), int(sys.argv[2]) if len(sys.argv) > 2 else 200))
