"""Imports at scale: 100 000 rows of readings, in our own columns and through a laboratory's layout; kills on request.

python tests/benchmarks/imports.py [--rows 100000] [--kills 100]
"""

from __future__ import annotations

import argparse
import resource
import subprocess
import sys
import tempfile
import time
from datetime import UTC, datetime
from pathlib import Path

from study.commands.opening import begin_study, open_study
from study.commands.pull import import_pulls
from study.commands.read_import import import_file, import_readings
from study.commands.register import register_file
from study.commands.shelf import shelf_list
from study.model.person import Signature
from study.store.chain import broken_links
from study.store.imports import count_readings

LIMIT_S, LIMIT_BYTES = 10.0, 1_000_000_000
SIGNATURE = Signature(by="R. Vale", at=datetime(2026, 6, 2, 9, tzinfo=UTC), why="Benchmark.")
OURS = "coupon,read_on,removal_force,force_unit,failure_pattern,side,residue_grade,note"
THEIRS = "Specimen;Date tested;Peel force (N);Failure mode;Side;Residue;Operator;Comment"
KILLS = Path(__file__).resolve().parent / "killing.py"


def shelf(folder: Path, coupons: int) -> Path:
    """A study with so many coupons, all pulled and none read; and its codes in a file beside it."""
    path = folder / "scale.sqlite"
    begin_study(path, institution="An invented museum", signature=SIGNATURE)
    sets = -(-coupons // 1000)
    files = {
        "adhesives": ["adhesive,name,composition_class,formulation_version", "a,Gel A,other,1"],
        "lots": ["lot,adhesive", "L,a"],
        "substrates": ["substrate,name,preparation,stands_for", "s,sheet,cleaned,display surface"],
        "environments": ["environment,name", "room,room"],
        "sets": [
            "set,lot,substrate,environment,protocol,placed_on,dot_diameter_mm,dots",
            *(f"S{n},L,s,room,display-dots,2024-01-15,8,3" for n in range(sets)),
        ],
        "coupons": ["set,test,pull,count", *(f"S{n},pull-off-dot,3 months,1000" for n in range(sets))],
    }
    with open_study(path) as study:
        for kind, lines in files.items():
            table = folder / f"{kind}.csv"
            table.write_text("\n".join(lines) + "\n", "utf-8")
            register_file(study, kind, table, signature=SIGNATURE)
        codes = [line.code for line in shelf_list(study)]
        pulls = folder / "pulls.csv"
        pulls.write_text("coupon,on\n" + "".join(f"{code},2024-04-15\n" for code in codes), "utf-8")
        import_pulls(study, pulls, signature=SIGNATURE)
    (folder / "codes.txt").write_text("\n".join(codes[:coupons]), "utf-8")
    return path


def sheets(folder: Path, codes: list[str]) -> tuple[Path, Path]:
    """The same readings in our columns, and as a laboratory writes them."""
    ours, theirs = folder / "ours.csv", folder / "theirs.csv"
    rows = [(code, f"{4 + place % 97 / 40:.2f}", place % 5) for place, code in enumerate(codes)]
    ours.write_text(
        OURS + "\n" + "".join(f"{c},2024-04-16,{f},N,AF,object,{g},quick look\n" for c, f, g in rows), "utf-8"
    )
    theirs.write_text(
        THEIRS
        + "\n"
        + "".join(f"{c};16/04/2024;{f.replace('.', ',')};AF;object;{g};R. Vale;quick look\n" for c, f, g in rows),
        "utf-8",
    )
    return ours, theirs


def once(way: str, folder: Path) -> None:
    """One import in a process of its own, so that its memory is its own."""
    with open_study(folder / f"{way}.sqlite") as study:
        start, worked = time.perf_counter(), time.process_time()
        if way == "ours":
            import_readings(study, folder / "ours.csv", signature=SIGNATURE, answers={"unusual": "as typed"})
        else:
            answers = {"unusual": "as typed", "residue scale": "0 to 5, 0 is clean"}
            import_file(study, folder / "theirs.csv", answers=answers, remember="sheet", signature=SIGNATURE)
        took, cpu = time.perf_counter() - start, time.process_time() - worked
        count = count_readings(study)
        sound = not list(broken_links(study.db.conn))
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * 1024
    ok = "within" if took < LIMIT_S and peak < LIMIT_BYTES else "BEYOND"
    print(
        f"{way:>6}: {count} readings in {took:5.1f} s ({took / LIMIT_S:4.0%} of the limit; "
        f"{cpu:.1f} s of processor), "
        f"{peak / 1e6:4.0f} MB ({peak / LIMIT_BYTES:4.0%}), chain {'sound' if sound else 'BROKEN'}: {ok}",
        flush=True,
    )


def main() -> None:
    """Build the shelf, then import both ways; with --kills, kill that many imports too."""
    asked = argparse.ArgumentParser()
    asked.add_argument("--rows", type=int, default=100_000)
    asked.add_argument("--kills", type=int, default=0)
    asked.add_argument("--once", nargs=2)
    given = asked.parse_args()
    if given.once:
        once(given.once[0], Path(given.once[1]))
        return
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        path = shelf(folder, given.rows)
        sheets(folder, (folder / "codes.txt").read_text("utf-8").split())
        for way in ("ours", "theirs"):
            (folder / f"{way}.sqlite").write_bytes(path.read_bytes())
            subprocess.run([sys.executable, __file__, "--once", way, str(folder)], check=True)
    if given.kills:
        subprocess.run([sys.executable, str(KILLS), str(given.kills)], check=True)


if __name__ == "__main__":
    main()
