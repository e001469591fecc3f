"""Racks that are moved: positions by file and by shelf, the list in the order of the shelf, and a dated note."""

from __future__ import annotations

from datetime import date
from pathlib import Path

import pytest

from study.commands.pull import due_pulls, record_pulls
from study.commands.pull_move import move_coupons, move_shelf
from study.commands.shelf import remarks
from study.errors import FileRefused, NotPossible, Unknown
from study.model.person import Signature
from study.store.positions import fetch_positions
from study.store.study_file import StudyFile

DUE = date(2025, 4, 15)


def listed(study: StudyFile) -> dict[str, list[str]]:
    """Codes by set of what is due, in the order of the shelf."""
    return {pull.set_key: list(pull.codes) for pull in due_pulls(study, on=DUE, shelf_order=True)}


def write(path: Path, places: list[tuple[str, str, object]]) -> Path:
    """A position file."""
    path.write_text("coupon,shelf,place\n" + "".join(f"{c},{s},{p}\n" for c, s, p in places), "utf-8")
    return path


def test_the_list_follows_the_shelf(study: StudyFile, tmp_path: Path, signature: Signature) -> None:
    """As registered while nothing stands anywhere; then by shelf and place, wherever each coupon stands."""
    before = listed(study)
    assert list(before) == ["sheet", "tile"]
    sheet, tile = before["sheet"], before["tile"]
    places: list[tuple[str, str, object]] = [(code, "B", n) for n, code in enumerate(reversed(sheet), 1)]
    places += [(code, "A", n) for n, code in enumerate(tile, 1)]
    moved = move_coupons(study, write(tmp_path / "rack.csv", places), on=DUE, signature=signature)
    assert len(moved) == 12
    assert list(listed(study).items()) == [("tile", tile), ("sheet", list(reversed(sheet)))]
    assert not any("shelf" in told for told in remarks(study, "P01"))
    move_shelf(study, "A", "C", on=DUE, note="Rack A went to the annex.", signature=signature)
    assert list(listed(study)) == ["sheet", "tile"]
    told = [told for told in remarks(study, "P02") if "shelf" in told]
    assert told == ["2025-04-15, tile: 6 coupons moved from shelf A to shelf C. Rack A went to the annex."]
    superseded = study.rows("SELECT count(*) AS n FROM positions WHERE superseded_change IS NOT NULL")
    assert superseded[0]["n"] == 6


def test_what_a_move_refuses(study: StudyFile, tmp_path: Path, signature: Signature) -> None:
    """Unknown codes, no place, one place for two, every problem at once; an empty shelf; places that meet."""
    sheet = listed(study)["sheet"]
    bad: list[tuple[str, str, object]] = [
        (sheet[0], "A", 1), (sheet[1], "A", 1), ("AAAA-A", "A", 2), (sheet[2], "", 3), (sheet[3], "A", 0),
        (sheet[0], "A", 4),
    ]  # fmt: skip
    with pytest.raises(FileRefused) as refused:
        move_coupons(study, write(tmp_path / "bad.csv", bad), on=DUE, signature=signature)
    assert sorted(problem.row for problem in refused.value.problems) == [3, 4, 5, 6, 7]
    assert fetch_positions(study) == {}
    good: list[tuple[str, str, object]] = [(sheet[0], "A", 1), (sheet[1], "B", 1)]
    move_coupons(study, write(tmp_path / "good.csv", good), on=DUE, signature=signature)
    with pytest.raises(NotPossible, match="stands there already"):
        move_coupons(study, write(tmp_path / "good.csv", good), on=DUE, signature=signature)
    with pytest.raises(NotPossible, match=f"{sheet[0]} and {sheet[1]} at 1"):
        move_shelf(study, "A", "B", on=DUE, signature=signature)
    with pytest.raises(NotPossible, match="name of its own"):
        move_shelf(study, "A", " A", on=DUE, signature=signature)
    with pytest.raises(Unknown, match="No coupon stands"):
        move_shelf(study, "Z", "A", on=DUE, signature=signature)
    # A place is free again once its coupon is off; two may change places in one file.
    record_pulls(study, [sheet[1]], kind="pulled", on=DUE, signature=signature)
    move_shelf(study, "A", "B", on=DUE, signature=signature)
    swap: list[tuple[str, str, object]] = [(sheet[2], "B", 2), (sheet[0], "B", 3)]
    move_coupons(study, write(tmp_path / "one.csv", swap), on=DUE, signature=signature)
    swap = [(sheet[2], "B", 3), (sheet[0], "B", 2)]
    move_coupons(study, write(tmp_path / "two.csv", swap), on=DUE, signature=signature)
    assert fetch_positions(study)[sheet[0]] == ("B", 2)
