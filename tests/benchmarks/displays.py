"""Displays at scale: 5 000 objects on 60 pairings, as the pages Today and Display ask for them.

python tests/benchmarks/displays.py
"""

from __future__ import annotations

import os
import tempfile
import time
from collections.abc import Callable
from datetime import UTC, date, datetime
from pathlib import Path

from study.commands.decide import issue_decision
from study.commands.display import import_displays, standings
from study.commands.opening import begin_study, open_study
from study.commands.pull import import_pulls
from study.commands.read_correct import correct_reading
from study.commands.read_import import import_readings
from study.commands.register import register_file
from study.commands.shelf import shelf_list
from study.commands.today import day_sheet
from study.model.person import Signature

ADHESIVES, SUBSTRATES, OBJECTS = 12, 5, 5000
PULLS = {"1 month": "2024-02-15", "3 months": "2024-04-15", "6 months": "2024-07-15", "12 months": "2025-01-15"}
TODAY = date(2025, 6, 2)
SIGNATURE = Signature(by="R. Vale", at=datetime(2025, 6, 2, 9, tzinfo=UTC), why="Benchmark.")


def table(folder: Path, name: str, head: str, rows: list[str]) -> Path:
    """One file in the users' own format."""
    path = folder / f"{name}.csv"
    path.write_text("\n".join([head, *rows]) + "\n", "utf-8")
    return path


def build(folder: Path) -> Path:
    """A study of sixty pairings with decisions, and five thousand objects standing on them."""
    study_file = folder / "scale.sqlite"
    begin_study(study_file, institution="An invented museum", signature=SIGNATURE)
    keys = [(a, s) for a in range(ADHESIVES) for s in range(SUBSTRATES)]
    files = {
        "adhesives": (
            "adhesive,name,composition_class,formulation_version",
            [f"a{a},Gel {a},other,1" for a in range(12)],
        ),
        "lots": ("lot,adhesive", [f"L{a},a{a}" for a in range(12)]),
        "substrates": (
            "substrate,name,preparation,stands_for",
            [f"s{s},surface {s},cleaned,{'object' if s else 'display surface'}" for s in range(SUBSTRATES)],
        ),
        "environments": ("environment,name", ["room,room"]),
        "sets": (
            "set,lot,substrate,environment,protocol,placed_on,dot_diameter_mm,dots,dwell_load_n",
            [f"S{a}-{s},L{a},s{s},room,display-dots,2024-01-15,8,3,2" for a, s in keys],
        ),
        "coupons": (
            "set,test,pull,count",
            [f"S{a}-{s},{test},{pull},3" for a, s in keys for test in ("pull-off-dot", "hold-angle") for pull in PULLS],
        ),
    }
    with open_study(study_file) as study:
        for kind, (head, rows) in files.items():
            register_file(study, kind, table(folder, kind, head, rows), signature=SIGNATURE)
        shelf = shelf_list(study)
        pulls = [f"{line.code},{PULLS[line.pull]}" for line in shelf]
        import_pulls(study, table(folder, "pulls", "coupon,on", pulls), signature=SIGNATURE)
        head = "coupon,read_on,removal_force,force_unit,failure_pattern,side,residue_grade,L_before,a_before,b_before,"
        head += "L_after,a_after,b_after,hold_angle_deg"
        rows = []
        for place, line in enumerate(shelf):
            read = f"{5 + place % 7 / 10},N,AF,object,1,60,2,10,60,2,{10.3 + place % 5 / 20},"
            rows.append(f"{line.code},{PULLS[line.pull]},{read if line.test == 'pull-off-dot' else ',' * 11 + '>90'}")
        import_readings(study, table(folder, "readings", head, rows), signature=SIGNATURE)
        for number in range(1, len(keys) + 1):
            issue_decision(study, f"P{number:02d}", signature=SIGNATURE, on=TODAY)
        head = "object,location,lot,object_pairing,support_pairing,environment,dots,dot_diameter_mm,load_n,"
        head += "placed_on,placed_by"
        rows = []
        for place in range(OBJECTS):
            a, s = place % ADHESIVES, 1 + place % (SUBSTRATES - 1)
            pairings = f"P{a * SUBSTRATES + s + 1:02d},P{a * SUBSTRATES + 1:02d}"
            rows.append(f"O-{place:05d},Case {place % 90},L{a},{pairings},room,3,8,2,2025-0{1 + place % 5}-10,M. Quill")
        import_displays(study, table(folder, "displays", head, rows), signature=SIGNATURE)
    return study_file


def timed(words: str, work: Callable[[], object]) -> None:
    """Print the better of two times of one piece of work."""
    times = []
    for _ in range(2):
        start = time.perf_counter()
        work()
        times.append(time.perf_counter() - start)
    print(f"{words}: {min(times):6.3f} s", flush=True)


def main() -> None:
    """Build the study, then time what the pages ask for."""
    with tempfile.TemporaryDirectory() as name:
        os.environ["DWELLBOOK_MEMO"] = str(Path(name) / "memo")
        start = time.perf_counter()
        path = build(Path(name))
        print(f"built in {time.perf_counter() - start:.1f} s: 60 pairings, {OBJECTS} objects", flush=True)
        with open_study(path) as study:
            timed("Today, the day's sheet", lambda: day_sheet(study, on=TODAY))
            timed("Display, every object with where it stands", lambda: standings(study, on=TODAY))
            for line in [line for line in shelf_list(study, set_key="S0-1") if line.test == "pull-off-dot"][6:]:
                correct_reading(study, line.code, "residue_grade", "5", signature=SIGNATURE)
            issue_decision(study, "P02", signature=SIGNATURE, on=TODAY)
            touched = standings(study, on=TODAY).attention
            timed(
                f"list of the {len(touched)} objects a superseding decision touches",
                lambda: standings(study, on=TODAY).attention,
            )


if __name__ == "__main__":
    main()
