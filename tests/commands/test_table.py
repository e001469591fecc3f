"""A table somebody already has: right numbers from a file, or a refusal that lists every bad cell."""

from __future__ import annotations

import json
import math
import tomllib
from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from study.commands.analyse import LookColumns, analyse_table
from study.errors import FileRefused
from study.model.looks import LookEstimate, LookRule
from study.outputs.looks_report import look_sentence, write_looks

ONE_LOOK = LookColumns(dwell="dwell", acceptable="ok", count="n")
CASES = {
    "late": ([0, 0, 0, 2, 4], [5] * 5),
    "none": ([0] * 5, [5] * 5),
    "small": ([0, 0, 1, 1, 3], [3] * 5),
    "uneven": ([0, 0, 1, 2, 1], [5, 4, 5, 3, 5]),
}
DAYS = [91, 182, 365, 730, 1095]


def look_table(tmp_path: Path, header: str, lines: list[str]) -> Path:
    path = tmp_path / "table.csv"
    path.write_text("\n".join([header, *lines]) + "\n", "utf-8")
    return path


def one(path: Path, columns: LookColumns, rule: LookRule | None = None) -> LookEstimate:
    (estimate,) = analyse_table(path, columns=columns, rule=rule or LookRule())[1]
    return estimate


def counts(bad: list[int], read: list[int]) -> list[str]:
    rows = [(day, "no", x) for day, x in zip(DAYS, bad, strict=True)]
    rows += [(day, "yes", m - x) for day, x, m in zip(DAYS, bad, read, strict=True)]
    return [f"{day},{word},{count}" for day, word, count in rows if count]


@pytest.mark.parametrize(
    ("case", "share", "days"),
    [
        # Worked cases, exact enumeration (DEVELOPERS.md, pass/fail bound), to the digits stated there.
        ("late", 0.0, 178.6329), ("late", 1 / 3, 87.8418), ("late", 0.444, 77.2155),
        ("none", 0.0, 432.7370), ("none", 1 / 3, 293.6373), ("none", 0.444, 246.7292),
        ("small", 0.0, 46.9663), ("small", 1 / 3, 41.3478),
        ("uneven", 0.0, 87.0226), ("uneven", 1 / 3, 69.5300),
    ],
)  # fmt: skip
def test_worked_pass_fail_cases_come_out_of_a_file(tmp_path: Path, case: str, share: float, days: float) -> None:
    """Counts at five pulls give the worked bound at the day share asked for."""
    path = look_table(tmp_path, "dwell,ok,n", counts(*CASES[case]))
    found = one(path, ONE_LOOK, LookRule(day_share=share))
    assert found.bound.lower_days == pytest.approx(days, abs=1e-3 if share == 0.444 else 6e-5, rel=0)
    assert found.bound.exact


@pytest.mark.parametrize("name", ["R1, sqrt", "R2, sqrt", "R3, sqrt"])
def test_worked_readings_come_out_of_a_file(tmp_path: Path, name: str) -> None:
    """The three worked sets of readings give their decline bound on the root of time, and it decides."""
    published = tomllib.loads((Path(__file__).parents[1] / "published" / "decline.toml").read_text("utf-8"))
    case = next(case for case in published["case"] if case["name"] == name)
    pulls = zip(case["inputs"]["days"], case["inputs"]["readings"], strict=True)
    lines = [f"{day},{value}" for day, values in pulls for value in values]
    found = one(look_table(tmp_path, "d,v", lines), LookColumns(dwell="d", value="v", limit="> 6"))
    assert found.declines[0].lower_days == pytest.approx(case["expected"]["lower"], abs=case["tolerance"])
    assert found.declines[0].lower_alike_days == pytest.approx(case["expected"]["lower_alike"], abs=case["tolerance"])
    assert (found.decline_used, found.duration.outcome) == ("sqrt", "supported")
    assert found.duration.dwell == found.declines[0].lower_days


def test_intervals_give_the_worked_curve(tmp_path: Path) -> None:
    """Two (0,6], one (6,12], one (12,24], one beyond 12, three beyond 24: 6/8, 5/8 and 5/8 of 3/4 stay acceptable."""
    lines = [",6", ",6", "6,12", "12,", "12,24", "24,", "24,", "24,"]
    path = look_table(tmp_path, "after,by", lines)
    found = one(path, LookColumns(after="after", by="by"))
    answer = json.loads(write_looks([found], rule=LookRule()))["groups"][0]
    shares = {step["by"]: step["acceptable"] for step in answer["curve"]}
    assert shares[6.0] == pytest.approx(6 / 8, abs=1e-7)
    assert shares[12.0] == pytest.approx(5 / 8, abs=1e-7)
    assert shares[24.0] == pytest.approx(0.46875, abs=1e-7)
    assert shares[None] == 0
    assert answer["pulls"] == []
    assert answer["bound"]["lower"] is None
    assert answer["bound"]["why"]
    assert answer["duration"]["outcome"] in ("provisional", "not shown")


def test_one_bad_of_ten_allows_no_more_than_its_exact_limit(tmp_path: Path) -> None:
    """Exact one-sided limit of 9 acceptable of 10 at 95 %: 0.6058 (binomial tables)."""
    path = look_table(tmp_path, "dwell,ok,n", ["6,yes,9", "6,no,1"])
    found = one(path, ONE_LOOK)
    assert found.pulls[0].acceptable_lower == pytest.approx(0.6058, abs=5e-5)
    assert found.bound.lower_days is None
    assert "three are needed" in (found.bound.why or "")
    assert found.duration.outcome == "not shown"


def test_harm_stops_and_groups_stand_apart(tmp_path: Path) -> None:
    """One harm stops its group and no other; groups keep their order and their text."""
    lines = [f"{day},yes,{group},{'yes' if group == 'Wax, W' and day == 365 else ''}"
             for group in ("gel", "Wax, W") for day in DAYS for _ in range(5)]  # fmt: skip
    lines = [line.replace("Wax, W", '"Wax, W"') for line in lines]
    path = look_table(tmp_path, "dwell,ok,kind,harm", lines)
    columns = LookColumns(dwell="dwell", acceptable="ok", group="kind", harm="harm")
    gel, wax = analyse_table(path, columns=columns, rule=LookRule())[1]
    assert (gel.group, gel.duration.outcome) == ("gel", "provisional")
    assert gel.duration.dwell == pytest.approx(293.6373, abs=6e-5)
    assert (wax.group, wax.duration.outcome, wax.duration.dwell) == ("Wax, W", "stopped", None)


@pytest.mark.parametrize(
    ("lines", "outcome", "words"),
    [
        ([f"{day},no,5" for day in DAYS], "not shown", "all 5 unacceptable at the first pull"),
        (["0,no,1"] + [f"{day},yes,5" for day in DAYS], "not shown", "day of placement"),
        (["30,no,4", "30,yes,1", "60,no,2", "60,yes,3", "90,yes,5"], "not shown", "does not rise"),
        (["30,yes,1"], "not shown", "three are needed"),
        (["0,yes,5"], "not shown", "tells anything"),
        ([f"{30 * month},yes,2" for month in range(1, 15)], "not shown", "at no time were 3"),
    ],
)
def test_hard_cases_stay_in_their_group(tmp_path: Path, lines: list[str], outcome: str, words: str) -> None:
    """What statistics cannot give is said in the answer, with exit 0."""
    found = one(look_table(tmp_path, "dwell,ok,n", lines), ONE_LOOK)
    assert found.duration.outcome == outcome
    assert words in f"{found.duration.why} {found.bound.why}"
    answer = write_looks([found], rule=LookRule())
    assert "NaN" not in answer
    assert "Infinity" not in answer


def test_bounds_decide_where_they_can_and_are_counted_where_not(tmp_path: Path) -> None:
    """ ">50" with a limit of 4 is unacceptable, ">4" too, ">2" is undecided and counted, a blank is not measured."""
    lines = [f"{day},{value}" for day in DAYS for value in ("1.0", "1.2", "0.9")]
    lines += ["1095,>50", "1095,>4", "1095,>2", "1095,<1", "1095,"]
    found = one(look_table(tmp_path, "d,v", lines), LookColumns(dwell="d", value="v", limit="> 4"))
    assert (found.n, found.unacceptable, found.dropped) == (18, 2, 2)
    assert "1 not measured" in found.dropped_why
    assert "1 with a value that does not decide it" in found.dropped_why
    assert found.declines[0].lower_days is None
    assert "above or below" in (found.declines[0].why or "")
    assert found.decline_used == ""


def test_a_lower_limit_turns_round(tmp_path: Path) -> None:
    """Hold that must stay above 60: equal is acceptable, less is not."""
    lines = ["30,60", "30,59.9", "60,80", "60,<60", "90,>60"]
    columns = LookColumns(dwell="d", value="v", limit="< 60")
    found = one(look_table(tmp_path, "d,v", lines), columns, LookRule(value_scale="as read"))
    assert (found.n, found.unacceptable) == (5, 2)


@pytest.mark.parametrize(
    ("columns", "rule", "words"),
    [
        (LookColumns(dwell="d"), LookRule(), "either --acceptable or --value"),
        (LookColumns(dwell="d", acceptable="a", value="v", limit="> 4"), LookRule(), "either --acceptable or --value"),
        (LookColumns(dwell="d", value="v"), LookRule(), "--limit"),
        (LookColumns(dwell="d", value="v", limit="4"), LookRule(), "on which side"),
        (LookColumns(dwell="d", value="v", limit="> -4"), LookRule(), "as-read"),
        (LookColumns(after="a"), LookRule(), "belong together"),
        (LookColumns(after="a", by="b", dwell="d"), LookRule(), "not both"),
        (LookColumns(dwell="d", acceptable="a"), LookRule(permitted=1.5), "--permitted"),
        (LookColumns(dwell="d", acceptable="a"), LookRule(confidence=95), "--confidence"),
        (LookColumns(dwell="d", acceptable="a"), LookRule(day_share=0.9), "--day-share"),
        (LookColumns(dwell="d", acceptable="a"), LookRule(shape_from=12, shape_to=1), "--shape"),
        (LookColumns(dwell="days", acceptable="a"), LookRule(), "column is missing"),
    ],
)
def test_bad_options_are_refused(tmp_path: Path, columns: LookColumns, rule: LookRule, words: str) -> None:
    """Options that do not fit together, or a column that is not there, are refused with what would do."""
    path = look_table(tmp_path, "d,a,v,b", ["1,yes,1,2"])
    with pytest.raises(FileRefused) as refusal:
        analyse_table(path, columns=columns, rule=rule)
    assert words in str(refusal.value)


def test_every_bad_cell_is_listed(tmp_path: Path) -> None:
    """Six bad cells in five rows are told in one refusal, each with row and column."""
    path = look_table(
        tmp_path, "d,v,n,harm", ["-3,1,1,", "30,abc,0,", "x,1,1.5,", "nan,1,1,perhaps", '30,"1,5",1,', "30,0,1,no"]
    )
    columns = LookColumns(dwell="d", value="v", limit="> 4", count="n", harm="harm")
    with pytest.raises(FileRefused) as refusal:
        analyse_table(path, columns=columns, rule=LookRule())
    assert [(problem.row, problem.column) for problem in refusal.value.problems] == [
        (2, "d"), (3, "n"), (3, "v"), (4, "n"), (4, "d"), (5, "harm"), (5, "d"), (6, "v"), (7, "v"),
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("line", "words"), [("6,6", "Give the last look before it"), ("12,6", "is before"), ("x,6", "not a number")]
)
def test_an_interval_must_be_one(tmp_path: Path, line: str, words: str) -> None:
    """An interval that is closed on itself or runs backwards is refused."""
    with pytest.raises(FileRefused, match=words):
        analyse_table(
            look_table(tmp_path, "after,by", [line]), columns=LookColumns(after="after", by="by"), rule=LookRule()
        )


def test_a_group_that_tells_nothing_keeps_nobody_waiting(tmp_path: Path) -> None:
    """Every verdict of a group is blank: it says so, and the group beside it has its answer."""
    path = look_table(tmp_path, "dwell,ok,g", ["1,,a", "2,,a", "1,yes,b", "2,yes,b", "3,yes,b"])
    found = {
        one.group: one for one in analyse_table(path, columns=LookColumns("dwell", "ok", group="g"), rule=LookRule())[1]
    }
    assert "no coupon tells anything" in look_sentence(found["a"])
    assert (found["b"].n, found["b"].bound.why) == (3, None)
    path = look_table(tmp_path, "dwell,ok", ["1e40,yes", "1e-40,yes", "1e15,yes", "1e-12,yes", "1,yes"])
    with pytest.raises(FileRefused) as refused:
        analyse_table(path, columns=LookColumns("dwell", "ok"), rule=LookRule())
    assert [one.row for one in refused.value.problems] == [2, 3]


def test_a_workbook_reads_like_its_csv(tmp_path: Path) -> None:
    """The same table saved as a workbook gives the same answer; a false one is refused."""
    import openpyxl

    book = openpyxl.Workbook()
    sheet = book.active
    assert sheet is not None
    sheet.append(["dwell", "ok", "n"])
    for line in counts(*CASES["late"]):
        day, word, count = line.split(",")
        sheet.append([int(day), word == "yes", float(count)])
    path = tmp_path / "table.xlsx"
    book.save(path)
    from_csv = one(look_table(tmp_path, "dwell,ok,n", counts(*CASES["late"])), ONE_LOOK)
    assert one(path, ONE_LOOK) == from_csv
    path.write_bytes(b"PK not a workbook")
    with pytest.raises(FileRefused, match="not a workbook"):
        one(path, ONE_LOOK)


@settings(max_examples=25, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.permutations(list(range(10))), st.integers(2, 4))
def test_order_and_splitting_change_nothing(tmp_path: Path, order: list[int], parts: int) -> None:
    """Rows in another order, and a count split into single rows, give the same answer."""
    lines = counts(*CASES["uneven"])
    whole = one(look_table(tmp_path, "dwell,ok,n", lines), ONE_LOOK)
    split = []
    for line in (lines[place] for place in order if place < len(lines)):
        day, word, count = line.split(",")
        first = min(int(count), parts - 1)
        split += [f"{day},{word},{first}"] + ([f"{day},{word},{int(count) - first}"] if int(count) > first else [])
    assert write_looks([one(look_table(tmp_path, "dwell,ok,n", split), ONE_LOOK)], rule=LookRule()) == write_looks(
        [whole], rule=LookRule()
    )


@pytest.mark.parametrize("factor", [12.0, 1 / 30.4375])
def test_the_unit_of_time_does_not_matter(tmp_path: Path, factor: float) -> None:
    """Days or months: the same bound, in the other unit."""
    lines = counts(*CASES["late"])
    scaled = [f"{float(line.split(',')[0]) * factor!r},{','.join(line.split(',')[1:])}" for line in lines]
    days, other = (one(look_table(tmp_path, "dwell,ok,n", part), ONE_LOOK) for part in (lines, scaled))
    assert days.bound.lower_days is not None
    assert other.bound.lower_days == pytest.approx(days.bound.lower_days * factor, rel=1e-9)
    assert other.lifetimes[0].t_permitted_days == pytest.approx(
        (days.lifetimes[0].t_permitted_days or 0) * factor, rel=1e-6
    )


def test_groups_swapped_keep_their_answers(tmp_path: Path) -> None:
    """Which group stands first changes neither's numbers."""
    parts = {name: [f"{line},{name}" for line in counts(*CASES[name])] for name in ("late", "none")}
    columns = LookColumns(dwell="dwell", acceptable="ok", count="n", group="g")
    answers = []
    for order in (("late", "none"), ("none", "late")):
        path = look_table(tmp_path, "dwell,ok,n,g", [line for name in order for line in parts[name]])
        answers.append({found.group: found for found in analyse_table(path, columns=columns, rule=LookRule())[1]})
    assert answers[0] == answers[1]


def test_a_million_coupons_are_no_trouble(tmp_path: Path) -> None:
    """A long table of single looks on eight days is answered, not choked on."""
    rng = np.random.default_rng(3)
    days = rng.choice([30, 91, 182, 365, 548, 730, 913, 1095], 50_000)
    bad = rng.random(50_000) < 1 - np.exp(-((days / 2500.0) ** 2))
    lines = [f"{day},{'no' if x else 'yes'},20" for day, x in zip(days, bad, strict=True)]
    found = one(look_table(tmp_path, "dwell,ok,n", lines), ONE_LOOK)
    assert found.n == 1_000_000
    assert found.curve is not None
    truth = 2500 * (-math.log(0.9)) ** 0.5
    assert found.lifetimes[0].t_permitted_days == pytest.approx(truth, rel=0.02)
    assert look_sentence(found).startswith("all: ")
