"""Pull, moves: where coupons stand on the shelf, recorded and moved by file or a whole shelf at once, with a note."""

from __future__ import annotations

from datetime import date
from pathlib import Path

from study.errors import NotPossible, Unknown
from study.intake.position_file import REQUIRED, parse_positions
from study.intake.table_file import parse_table
from study.model.person import Signature
from study.model.place import Place, shelf_order
from study.store.coupons import fetch_coupons, fetch_marks
from study.store.positions import fetch_positions, save_positions
from study.store.pulls import fetch_pulls
from study.store.register import save_note
from study.store.study_file import StudyFile


def move_coupons(study: StudyFile, path: Path, *, on: date, note: str = "", signature: Signature) -> dict[str, Place]:
    """Every position in a file (coupon, shelf, place), with a dated note on each set; all or nothing.

    Raises
    ------
    FileRefused
        With every problem of the file.
    """
    table = parse_table(path, required=REQUIRED)
    with study.writing():
        pulled, places = fetch_pulls(study), fetch_positions(study)
        taken = {where: code for code, where in places.items() if code not in pulled}
        found = parse_positions(table, known=fetch_coupons(study), marks=fetch_marks(study), taken=taken)
        moved = {code: where for code, where in found.items() if places.get(code) != where}
        if not moved:
            raise NotPossible("Every coupon of the file stands there already.", "Nothing is left to do.")
        _save(study, moved, path.name, table.digest, on, note, signature)
    return moved


def move_shelf(
    study: StudyFile, shelf: str, to: str, *, on: date, note: str = "", signature: Signature
) -> dict[str, Place]:
    """All that stands on a shelf is on another one now, each at the same number, with a dated note on each set."""
    with study.writing():
        pulled, places = fetch_pulls(study), fetch_positions(study)
        on_shelf = {code: where for code, where in places.items() if where[0] == shelf.strip() and code not in pulled}
        if not on_shelf:
            raise Unknown(
                f"No coupon stands on shelf “{shelf}”.",
                f"Shelves with coupons: {', '.join(shelves(study)) or 'none yet'}.",
            )
        if not to.strip() or to.strip() == shelf.strip():
            raise NotPossible("The other shelf has no name of its own.", "Name the shelf they stand on now.")
        moved = {code: (to.strip(), where[1]) for code, where in on_shelf.items()}
        there = {where: code for code, where in places.items() if where[0] == to.strip() and code not in pulled}
        meets = [f"{code} and {there[where]} at {where[1]}" for code, where in moved.items() if where in there]
        if meets:
            raise NotPossible(
                f"Shelf {to} has coupons at the same places: {', '.join(meets[:8])}.",
                "Move them one by one, by a file.",
            )
        _save(study, moved, f"shelf {shelf.strip()}", "", on, note, signature)
    return moved


def shelves(study: StudyFile) -> list[str]:
    """Shelves on which coupons stand, in order of their names."""
    pulled = fetch_pulls(study)
    return sorted({shelf for code, (shelf, _) in fetch_positions(study).items() if code not in pulled}, key=shelf_order)


def _save(
    study: StudyFile, moved: dict[str, Place], subject: str, digest: str, on: date, note: str, signature: Signature
) -> None:
    coupons, before = fetch_coupons(study, moved), fetch_positions(study)
    of_set: dict[str, list[str]] = {}
    for code in moved:
        of_set.setdefault(coupons[code].set_key, []).append(code)
    was = {code: before[code] for code in moved if code in before}
    after = {"on": on, "places": moved, **({"file_sha256": digest} if digest else {})}
    with study.change(signature, act="move coupons", subject=subject, before=was or None, after=after) as change:
        save_positions(study, moved, change=change)
        for key, codes in of_set.items():
            # A first place is no accident: only what moved is told beside the evidence.
            shifted = [code for code in codes if code in before]
            if shifted or note.strip():
                text = _words([before[code][0] for code in shifted], [moved[code][0] for code in codes], len(codes))
                save_note(study, on=on, about="set", subject=key, text=f"{text} {note}".strip(), change=change)


def _words(before: list[str], after: list[str], count: int) -> str:
    coupons = "1 coupon" if count == 1 else f"{count} coupons"
    now = ", ".join(sorted(set(after)))
    was = f" from shelf {', '.join(sorted(set(before)))}" if before else ""
    return f"{coupons} {'moved' if before else 'placed'}{was} {'to' if before else 'on'} shelf {now}."
