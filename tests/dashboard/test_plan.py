"""The page Plan without a browser: what is typed and read back, counted, asked, saved and made."""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import replace
from datetime import date
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from dashboard.book import Book
from dashboard.pages import plan as page
from dashboard.plan import decline, making, support
from dashboard.plan.figures import draw_chances
from dashboard.plan.trials import SEARCH, Trial, Trials, work
from dashboard.plan.writing import Typed, blank, plan_text, pull_labels, typed_of, words_of
from dashboard.pull import due, happened
from dashboard.register import printing
from study.commands.opening import begin_study, open_study
from study.commands.plan import Question, plan_template, read_plan_text, saved_plans
from study.commands.pull_interrupt import interruptions
from study.commands.shelf import register_book
from study.errors import DwellbookError, NotPossible
from study.model.person import Signature
from study.model.plan import Plan

Said = Callable[[Any], str]
TODAY = date(2025, 4, 15)
COUNT = st.sampled_from(["", "0", "3", "12"])


@pytest.fixture
def small(study_path: Path) -> Book:
    """A book on the small study."""
    return Book(study_file=study_path, today=lambda: TODAY)


def typed(**more: Any) -> Typed:
    """A small plan on what the small study has registered."""
    begun = blank("1, 3, 6, 12 months", ["12 months"])
    fields = {
        **begun.fields, "name": "first", "adhesives": ["gel-a"], "substrates": ["sheet", "tile"],
        "environments": ["store"],
    }  # fmt: skip
    return replace(begun, fields={**fields, **more}, tests={"pull-off-dot": "3", "hold-angle": "0"})


def held(form: Typed) -> Plan:
    """The plan that a form holds."""
    return read_plan_text(plan_text(form)).plan


def test_a_plan_is_the_same_after_the_form() -> None:
    """The template, and with changes of cells, of pulls and of both at once, which no matrix of the page can hold."""
    whole = plan_template()
    for more in (
        "",
        '[[change]]\nadhesive = "wax-b"\nper_pull = 0\n',
        '[[change]]\npull = "12 months"\nper_pull = 9\n[[change]]\nsubstrate = "glazed-tile"\nper_pull = 4\n',
        '[[change]]\nadhesive = "wax-b"\npull = "6 months"\nper_pull = 8\n',
        '[[picture]]\nkey = "mine"\ntitle = "As I see it"\nreadings_months = 20\n',
    ):
        plan = read_plan_text(whole + more).plan
        form = typed_of(plan)
        again = held(form)
        cells = [(a, s, e, t, p) for a in plan.adhesives for s in plan.substrates for e in plan.environments
                 for t in plan.tests for p in plan.pulls]  # fmt: skip
        assert [again.per_pull(*cell) for cell in cells] == [plan.per_pull(*cell) for cell in cells]
        assert again.model_copy(update={"changes": ()}) == plan.model_copy(update={"changes": ()})
        assert bool(form.changes) == ("wax-b" in more and "6 months" in more)


@given(cells=st.lists(COUNT, min_size=4, max_size=4), pulls=st.lists(COUNT, min_size=4, max_size=4))
@settings(max_examples=30, deadline=None)
def test_a_cells_own_number_stands_over_that_of_a_pull(cells: list[str], pulls: list[str]) -> None:
    """Whatever is typed into both matrices: the cell's number where there is one, else the pull's, else the usual."""
    keys = [("gel-a", s, "store", t) for s in ("sheet", "tile") for t in ("pull-off-dot", "hold-angle")]
    labels = pull_labels("1, 3, 6, 12 months")
    form = replace(
        typed(), tests={"pull-off-dot": "3", "hold-angle": "2"}, cells=dict(zip(keys, cells, strict=True)),
        pulls={("pull-off-dot", label): count for label, count in zip(labels, pulls, strict=True)},
    )  # fmt: skip
    try:
        plan = held(form)
    except DwellbookError:
        assert set(cells) <= {"0"} or set(pulls) == {"0"}
        return
    for (adhesive, substrate, environment, method), own in zip(keys, cells, strict=True):
        test = next(t for t in plan.tests if t.method == method)
        for label, count in zip(labels, pulls, strict=True):
            usual = (count if method == "pull-off-dot" else "") or str(test.per_pull)
            assert plan.per_pull(adhesive, substrate, environment, test, label) == int(own or usual)


def test_pulls_are_written_as_a_person_does() -> None:
    """The unit once, and read back the same."""
    for words in ("1 week, 1, 3, 12 months", "1, 2 weeks, 1 month", "6 months"):
        assert words_of(pull_labels(words)) == words
    assert pull_labels("soon") == ()


def test_faults_stand_at_their_fields(small: Book, said: Said) -> None:
    """Every one of them at once, and nothing is kept to be tried out or saved."""
    with open_study(small.study_file) as study:
        register = register_book(study)
    form = replace(
        typed(adhesives=["Gel A"], pulls="1, 3 and soon", **{"controls.glass": "glass"}), tests={"pull-off-dot": "x"}
    )
    shown, faults, kept, line, keeping = page.counted(form, register, "")
    assert "“soon”" in faults["pulls"]
    said_so = "“Gel A” is no name that can be kept. Use letters, digits, dots, dashes and underscores, no spaces."
    assert faults["adhesives"] == said_so
    assert faults["test:pull-off-dot"] == "“x” is not a number."
    assert not kept
    assert not line
    assert keeping == "Typed, not whole yet."
    assert "glass_per_pull" not in said(shown)  # that fault is found once the fields themselves are right
    shown, faults, kept, _, _ = page.counted(typed(**{"controls.glass": "glass"}), register, "")
    assert "give glass and glass_per_pull together" in said(shown)


def test_numbers_add_up_beside_the_form(small: Book, said: Said) -> None:
    """24 test coupons, 5 at time zero and 2 spares a cell, 24 blanks: 62; what is not registered is said."""
    with open_study(small.study_file) as study:
        register = register_book(study)
    shown, faults, kept, line, _ = page.counted(typed(), register, "")
    text = said(shown)
    assert not faults
    assert line.startswith("62 coupons")
    assert "= 24 test coupons" in text
    assert "Still to be registered" not in text
    assert kept["cells"] == ["gel-a|sheet|store", "gel-a|tile|store"]
    shown, *_ = page.counted(typed(adhesives=["gel-a", "wax"], environments=["attic"]), register, "")
    assert "attic" in said(shown)
    assert "one of wax" in said(shown)
    shown, *_ = page.counted(typed(adhesives=[]), register, "")
    assert "Name an adhesive" in said(shown)
    wide = {"adhesives": ["gel-a", *(f"gel-{n}" for n in range(40))]}
    shown, *_ = page.counted(typed(**wide), register, "")
    assert "longer than a working week" in said(shown)


def test_a_new_study_is_led_on(tmp_path: Path, signature: Signature, said: Said) -> None:
    """Nothing on file: what the page does, and that names may come later."""
    begin_study(tmp_path / "new.sqlite", institution="", signature=signature)
    text = said(page.layout(Book(study_file=tmp_path / "new.sqlite", today=lambda: TODAY)))
    assert "No plan is on file yet" in text
    assert "Begin with any names" in text
    assert "This cannot be shown." in said(
        page.layout(Book(study_file=tmp_path / "new.sqlite", today=lambda: TODAY), name="none")
    )


def test_saved_superseded_made_and_fixed(small: Book, said: Said) -> None:
    """Another plan of the name needs a reason; made (32 + 10 + 6 + 24 = 72), the page leads on; then it is fixed."""
    text = {"text": plan_text(typed()), "named": True}
    first = making.kept_plan(small, making.held_of(text), seed="7", by="R. Vale", why="")
    assert first.seed == 7
    other = {"text": plan_text(replace(typed(), tests={"pull-off-dot": "4", "hold-angle": "0"})), "named": True}
    with pytest.raises(NotPossible) as refusal:
        making.kept_plan(small, making.held_of(other), seed="", by="R. Vale", why="")
    assert refusal.value.do == "Write a reason, or give the plan another name."
    with pytest.raises(NotPossible, match="in force"):
        making.kept_plan(small, making.held_of(other), seed="", by="R. Vale", why="", only_look=True)
    seen = making.kept_plan(small, making.held_of(other), seed="", by="R. Vale", why="One more.", only_look=True)
    with open_study(small.study_file) as study:
        assert saved_plans(study)["first"].codes == first.codes, "only looked"
    kept = making.kept_plan(small, making.held_of(other), seed="", by="R. Vale", why="One more.")
    assert (kept.seed, kept.warnings) == (7, seen.warnings)
    assert "Labels printed before are not right any more for 38 of 62 coupons" in said(making.saved_said(kept))
    assert "Labels" not in said(making.saved_said(first))
    assert "registers 72 coupons in 8 sets, placed on 15\u202fApr\u202f2025" in making.confirm_words(
        making.held_of(other), "2025-04-15"
    )
    href = making.made(small, making.held_of(other), on="2025-04-15", seed="", by="R. Vale", why="")
    assert href == "/plan?name=first&made=yes"
    shown = said(page.layout(small, name="first"))
    assert "made: 72 coupons in 8 sets" in shown
    assert "Bench sheets of the first pull, 1 month" in shown
    assert "/calendar.ics" in shown
    with pytest.raises(NotPossible, match="Coupons were made from plan"):
        making.kept_plan(small, making.held_of(text), seed="", by="R. Vale", why="Back again.")


def test_what_is_not_registered_is_led_to(small: Book, said: Said) -> None:
    """The plan stays saved, nothing is registered, and each missing name is one click away."""
    text = {"text": plan_text(typed(environments=["attic"])), "named": True}
    with open_study(small.study_file) as study:
        before = register_book(study).coupons
    with pytest.raises(DwellbookError) as refusal:
        making.made(small, making.held_of(text), on="2025-04-15", seed="", by="R. Vale", why="")
    shown = making.making_refused(refusal.value)
    assert "“attic” is not a registered environment." in said(shown)
    assert "/register?what=environments&by=paste" in str(shown)
    with open_study(small.study_file) as study:
        assert register_book(study).coupons == before
        assert list(saved_plans(study)) == ["first"]


@pytest.mark.parametrize("text", [None, {}, {"text": "x", "named": False}])
def test_a_plan_that_is_not_whole_is_not_saved(text: Any) -> None:
    """Nothing to count, or no name."""
    with pytest.raises(NotPossible):
        making.held_of(text)


def test_numbers_of_a_picture_are_changed_and_kept() -> None:
    """A changed picture says so and goes with the plan; the same numbers change nothing; a wrong one is refused."""
    pictures = decline.usual_pictures()
    one = pictures["middling"]
    picture = decline.Picture.model_validate(one)
    same = {key: decline.written(picture, key) for key, *_ in decline.FIELDS}
    assert decline.typed_picture(one, same) == picture
    other = decline.typed_picture(one, {**same, "readings_months": "24", "scatter": "20"})
    assert (other.readings_months, other.scatter) == (24, 0.2)
    assert other.title.endswith("with numbers of your own")
    assert decline.edited(pictures) == []
    assert decline.edited({**pictures, "middling": other.model_dump(mode="json")})[0]["scatter"] == 0.2
    for wrong in ({"scatter": "x"}, {"start_share": "99"}, {"day_scatter": "15"}):
        with pytest.raises(DwellbookError):
            decline.typed_picture(one, {**same, **wrong})


def test_a_trial_answers_in_words_and_a_figure(said: Said) -> None:
    """The chance with its error, the assumption, the seed; the figure falls from left to right inside its wash."""
    trial = Trial(
        plan_text(typed()), Question("fast", studies=60, only="Removal force", jobs=1), "3 months", 0.8, "show"
    )
    work(trial)
    assert trial.support is not None
    text = said(support.answered(trial))
    assert "Chance to show 3 months: " in text
    assert "Assumed: Fast decline" in text
    assert "From 60 invented studies, seed 1." in text
    assert [option.per_pull for option in support.options_of(trial)][:4] == [3, 5, 8, 10]
    figure = draw_chances(trial.support, wanted="3 months", scheme="light")
    low, high, _, shown, pulls = figure.data[:5]
    assert list(shown.y) == sorted(shown.y, reverse=True)
    assert all(a <= y <= b for a, y, b in zip(low.y, shown.y, high.y, strict=True))
    assert len(pulls.x) == 4
    assert said(support.tables_shown(trial)).count(" Use ") == len(trial.options) - 1  # all but the plan itself


def test_a_trial_is_stopped_and_another_goes_on() -> None:
    """The second begins when the first has heard that it is no longer wanted; both tell how they ended."""
    trials = Trials()
    asked = Question("fast", studies=5000, only="Removal force", jobs=1)
    first = trials.begin(Trial(plan_text(typed()), asked, "12 months", 0.8, SEARCH))
    second = trials.begin(
        Trial(plan_text(typed()), replace(asked, studies=20), "1 month", 0.5, "show"), instead_of=first.number
    )
    for _ in range(600):
        if first.ended and second.ended:
            break
        time.sleep(0.1)
    assert (first.ended, second.ended) == ("stopped", "done")
    assert trials.get(second.number) is second
    refused = trials.begin(Trial(plan_text(typed()), asked, "soon", 0.5, "show"))
    for _ in range(100):
        if refused.ended:
            break
        time.sleep(0.1)
    assert "soon" in str(refused.refusal)


@pytest.mark.parametrize("wrong", [{"studies": "many"}, {"seed": ""}, {"chance": "100"}, {"text": None}])
def test_questions_that_cannot_be_asked(wrong: dict[str, Any]) -> None:
    """Each is refused before any work."""
    asked: dict[str, Any] = {
        "text": {"text": "x"}, "what": "show", "decline": "fast", "cell": None, "wanted": "3 months", "chance": "80",
        "studies": "100", "seed": "1", "jobs": 1,
    }  # fmt: skip
    question = {**asked, **wrong}
    with pytest.raises(NotPossible):
        support.question(question.pop("text"), **question)
    assert support.question(asked.pop("text"), **{**asked, "cell": "a|b|c"}).asked.cell == ("a", "b", "c")


def test_labels_are_counted_before_they_are_printed() -> None:
    """Sheets from the first place on; a sheet that cannot be read, or a place not on it, is refused."""
    grid, start = printing.sheet_of(printing.USUAL, "5")
    assert printing.counted(21, grid, start) == "21 labels on 2 sheets."
    assert printing.counted(20, grid, start) == "20 labels on 1 sheet."
    for typed_grid, place in (("some", "1"), ("", "25"), ("", "0"), ("", "x")):
        with pytest.raises(DwellbookError):
            printing.sheet_of(typed_grid, place)


def test_paper_is_offered_at_the_shelf(said: Said) -> None:
    """The list, the map and the calendar's address."""
    text = said(due.on_paper())
    for words in ("Print the list", "Shelf map", "/calendar.ics"):
        assert words in text


def test_an_interruption_is_foreseen_and_not_written(small: Book, said: Said) -> None:
    """What follows is said by the protocol before it is recorded; nothing is on record then."""
    asked = {"environment": "store", "kind": "light out", "from": "2025-03-01", "to": "2025-03-09"}
    shown, moving = happened.foreseen(small, "interrupt", asked)
    assert "The clock runs on in sheet, tile" in said(shown)
    assert not moving, "no clock stops"
    assert "is before" in said(happened.foreseen(small, "interrupt", {**asked, "to": "2025-02-01"})[0])
    with open_study(small.study_file) as study:
        assert interruptions(study) == []
