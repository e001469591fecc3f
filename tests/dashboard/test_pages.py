"""What the pages show, without a browser and without a study file."""

from __future__ import annotations

from collections.abc import Callable
from contextlib import nullcontext
from dataclasses import replace
from datetime import UTC, date, datetime
from pathlib import Path
from typing import Any

import pytest
from dash import no_update

import dashboard.app as app_module
from dashboard.app import PAGES, create_app
from dashboard.book import Book
from dashboard.components.graph import graph
from dashboard.pages import analyse, decide, today
from study.commands.estimates import Standing
from study.commands.today import DaySheet
from study.errors import DwellbookError
from study.model.decision import Decision
from study.outputs.figures import draw_decline

Said = Callable[[Any], str]


@pytest.fixture(autouse=True)
def no_file(monkeypatch: pytest.MonkeyPatch) -> None:
    """No page opens a study file here."""
    for page in PAGES:
        monkeypatch.setattr(page, "open_study", lambda path: nullcontext(path))


def test_today_says_where_things_stand(sheet: DaySheet) -> None:
    """The sentence under the title counts what waits, each kind with its word."""
    expected = (
        "2 objects changed, 1 object stopped, 1 object overdue, 1 object due off display, 1 pull overdue, 1 pull due, "
        "1 coupon waiting to be read and 1 decision overtaken."
    )
    assert today.status_line(sheet) == expected
    bare = replace(sheet, pulls=(), unread=(), overtaken=(), displays=replace(sheet.displays, states=()))
    assert today.status_line(bare) == "Nothing is due today."


def test_today_leads_to_the_work(sheet: DaySheet, said: Said) -> None:
    """Each waiting coupon and each overtaken decision is one click from its page."""
    shown = str(today.work(sheet))
    assert f"/read?code={sheet.unread[0].code}" in shown
    assert "/decide?pairing=P02" in shown
    assert said(today.pulls_shown(sheet)).index("overdue") < said(today.pulls_shown(sheet)).index("next")


def test_an_empty_study_says_how_to_begin(sheet: DaySheet, said: Said) -> None:
    """An empty page says what it will show and the command that starts it."""
    bare = replace(sheet, pulls=(), unread=(), overtaken=(), coupons=0, displays=replace(sheet.displays, states=()))
    assert "on the page Display" in said(today.work(bare))
    assert "from the page Register" in said(today.work(bare))
    assert "dwellbook register" in said(decide.all_standings([]))
    assert "dwellbook register" in said(analyse.all_pairings([]))


def test_a_window_says_its_year_once(sheet: DaySheet) -> None:
    """Both ends of a window are days; the year is repeated only where it changes."""
    pull = sheet.pulls[0]
    assert today.window_words(pull) == "1\u202fFeb – 8\u202fMar\u202f2026"
    over = replace(pull, window_from=date(2025, 12, 30))
    assert today.window_words(over) == "30\u202fDec\u202f2025 – 8\u202fMar\u202f2026"


def test_ribbons_lead_to_their_pairing(standings: list[Standing], said: Said) -> None:
    """All outcomes are told in words beside their ribbon, with n, reach and confidence."""
    text = said(analyse.all_pairings([s.analysed for s in standings]))
    for words in ("18 months", "13 months, provisional", "not shown", "stopped", "40 coupons, 8 pulls to 1096\u202fd"):
        assert words in text
    assert "does not mean “safe”" in text
    assert "not an earthquake rating" in text


def test_the_limiting_criterion_is_shown_first(standings: list[Standing]) -> None:
    """Without a choice the page opens at what limits the pairing; a choice is followed."""
    estimate = standings[0].analysed.estimate
    first, chosen = analyse.choose(estimate, ""), analyse.choose(estimate, "hold")
    assert first is not None
    assert first.title == estimate.duration.limiting
    assert chosen is not None
    assert chosen.criterion == "hold"


def test_figures_say_n_and_confidence(standings: list[Standing], said: Said) -> None:
    """Under each figure stand n, confidence and the permitted share."""
    text = said(analyse.figures_shown(standings[0].analysed, "removal-force", scheme="light"))
    assert "n = 40 coupons" in text
    assert "all but 10\u202f% of such coupons with 95\u202f% confidence" in text


def test_a_graph_sends_nothing_away(standings: list[Standing]) -> None:
    """No graph offers to hand its numbers to another site."""
    figure = draw_decline(standings[0].analysed.estimate.estimates[0], scheme="light", months=36)
    config = graph(figure, key="g", title="t", words="w").children[1].config
    assert config["showSendToCloud"] is False
    assert config["plotlyServerURL"] == ""
    assert "sendChartToCloud" in config["modeBarButtonsToRemove"]


def test_standings_in_one_sentence(standings: list[Standing]) -> None:
    """What was decided, and whether it still stands, is said first."""
    assert (
        decide.status_line(standings)
        == "2 of 4 pairings have an issued decision, 1 of them overtaken by newer readings."
    )
    assert decide.standing_words(standings[0]) == "Decision 1 stands: 13 months; R. Vale, 2\u202fMar\u202f2026."
    assert decide.standing_words(standings[1]) == standings[1].overtaken
    assert decide.standing_words(standings[2]) == "No decision has been issued for this pairing."


def test_a_duration_says_what_it_means(pairing_book: Callable[..., Any], said: Said) -> None:
    """Days, share, confidence, steps, what would extend it, and the decision in force stand on the page."""
    text = said(decide.one_standing(pairing_book(0)))
    for words in (
        "561\u202fd",
        "at most 10\u202f%",
        "Take the shortest.",
        "What would extend it",
        "Decision 1: 13 months",
    ):
        assert words in text


def test_not_shown_gives_no_number(standings: list[Standing], said: Said) -> None:
    """Where nothing is shown no day is named as a duration."""
    assert "A supported duration says" not in said(decide.meaning(standings[2].analysed.estimate.duration))


def test_issuing_needs_a_name(
    book: Book, pairing_book: Callable[..., Any], monkeypatch: pytest.MonkeyPatch, said: Said
) -> None:
    """A decision without a name is refused; with one it is said to be issued and the pairing is shown as it stands."""
    monkeypatch.setattr(decide, "issue_decision", lambda study, key, signature, on: replace(_decision(), number=7))
    monkeypatch.setattr(decide, "pairing_book", lambda book, key: pairing_book(0))
    refusal = decide.acted(book, "issue", "P01", by="", why="24 months read")
    assert "Nobody's name" in said(refusal[0])
    assert refusal[1:] == (no_update, no_update, no_update)
    message, shown, acts, status = decide.acted(book, "issue", "P01", by="R. Vale", why="24 months read")
    assert "Decision 7 is issued: 13 months" in said(message)
    assert "2019.5" in said(message), "objects touched stand beside the message"
    assert "13 months" in said(shown)
    assert "Withdraw decision 1" in said(acts)
    assert status.startswith("Decision 1 stands")


def test_a_refused_study_file_is_a_page(book: Book, monkeypatch: pytest.MonkeyPatch, said: Said) -> None:
    """A file that cannot be opened is told in the page, with what to do."""

    def refuse(path: Path) -> Any:
        raise DwellbookError("shelf.sqlite was made by a newer Dwellbook.", "Update this one.")

    for page in PAGES:
        monkeypatch.setattr(page, "open_study", refuse)
        text = said(page.layout(book, code="3EG9-E"))
        assert "newer Dwellbook" in text
        assert "Update this one." in text


def test_every_page_is_in_the_rail_of_every_application(tmp_path: Path) -> None:
    """Two applications in one process have the same pages and all of their callbacks."""
    counts = set()
    for name in ("one.sqlite", "two.sqlite"):
        app = create_app(tmp_path / name, today=lambda: date(2026, 3, 2))
        app.server.test_client().get("/")
        counts.add(len(app.callback_map))
    assert len(counts) == 1
    assert [page.PATH for page in PAGES] == [
        "/",
        "/plan",
        "/register",
        "/pull",
        "/read",
        "/analyse",
        "/decide",
        "/display",
    ]


def _decision() -> Decision:
    return Decision(
        number=1, pairing="P01", outcome="supported", days=400, bound_days=400.5, limiting="Residue",
        reason="24 months read", interim=False, protocol_digest="", rule="{}", evidence_digest="", change_seen=9,
        seed=1, versions="{}", issued_by="R. Vale", issued_at=datetime(2026, 3, 2, 9, 30, tzinfo=UTC),
    )  # fmt: skip


def test_working_ahead_never_fails(book: Book, monkeypatch: pytest.MonkeyPatch) -> None:
    """What is worked out before anyone asks is asked once, and a file that is no study does not stop the server."""
    asked: list[Any] = []
    monkeypatch.setattr(app_module, "open_study", lambda path: nullcontext(path))
    monkeypatch.setattr(app_module, "analyse_all", asked.append)
    app_module.work_ahead(book)
    assert asked == [book.study_file]

    def refuse(path: Path) -> Any:
        raise DwellbookError("This is not a study.", "Name another file.")

    monkeypatch.setattr(app_module, "open_study", refuse)
    app_module.work_ahead(book)
    assert not book.estimating.locked()
