"""Bridges in a study: which is the successor, what must be the same, and how a carried result cites them."""

from __future__ import annotations

import json
from datetime import date

import pytest

from study.commands.bridges import bridge
from study.commands.decide import carry_result, stand_of
from study.commands.pull import record_pulls
from study.commands.read import record_reading
from study.commands.register import register_one
from study.commands.shelf import remarks
from study.errors import NotPossible, Unknown
from study.model.person import Signature
from study.store.coupons import fetch_coupons
from study.store.study_file import StudyFile

ON = date(2025, 4, 15)


@pytest.fixture
def bridged(study: StudyFile, signature: Signature) -> StudyFile:
    """A successor on the same sheet beside its predecessor, three forces of each at 3 months on one day."""
    register_one(
        study, "adhesives",
        {"adhesive": "gel-b", "name": "Gel B", "composition_class": "acrylic gel", "formulation_version": "2",
         "successor_of": "gel-a"}, signature=signature,
    )  # fmt: skip
    register_one(study, "lots", {"lot": "B-1", "adhesive": "gel-b"}, signature=signature)
    cells = {"set": "new", "substrate": "sheet", "lot": "B-1", "environment": "store", "protocol": "display-dots",
             "placed_on": "2025-01-15", "dot_diameter_mm": "8", "dots": "3", "dwell_load_n": "2"}  # fmt: skip
    register_one(study, "sets", cells, signature=signature)
    cells = {"set": "new", "test": "pull-off-dot", "pull": "3 months", "count": "3"}
    register_one(study, "coupons", cells, signature=signature)
    for key, forces in (("sheet", ("4.0", "4.4", "4.2")), ("new", ("4.6", "5.0", "4.8"))):
        codes = [
            c.code
            for c in fetch_coupons(study).values()
            if (c.set_key, c.test, c.pull_label) == (key, "pull-off-dot", "3 months")
        ]
        record_pulls(study, codes, kind="pulled", on=ON, signature=signature)
        for code, force in zip(codes, forces, strict=True):
            typed = {"removal_force": force, "force_unit": "N", "residue_grade": "1"}
            record_reading(study, code, typed, read_on=ON, signature=signature)
    return study


def test_the_register_says_which_is_the_successor(bridged: StudyFile) -> None:
    """In whichever order they are named, Gel B is compared with Gel A; the ratio is that of the geometric means."""
    found = bridge(bridged, "P03", "p01")
    assert (found.old, found.new) == ("P01", "P03")
    assert found.force is not None
    expected = ((4.6 * 5.0 * 4.8) / (4.0 * 4.4 * 4.2)) ** (1 / 3)
    assert found.force.ratio == pytest.approx(expected, rel=1e-12)
    assert found.force.coupons == (3, 3)
    shares = {one.criterion: one for one in found.shares}
    assert (shares["residue"].acceptable, shares["residue"].read) == ((3, 3), (3, 3))
    assert shares["residue"].limits[0][0] == pytest.approx(0.025 ** (1 / 3))
    assert "No difference shown with n = 3 and 3 is not the same as the same." in " ".join(found.sentences())
    assert not any("successor of" in remark for remark in found.remarks)


def test_anything_else_that_differs_is_refused(bridged: StudyFile) -> None:
    """Another surface, or one adhesive twice, is no bridge; an unknown pairing is unknown."""
    with pytest.raises(NotPossible, match="differ in surface"):
        bridge(bridged, "P02", "P03")
    with pytest.raises(NotPossible, match="of one adhesive"):
        bridge(bridged, "P01", "P01")
    with pytest.raises(Unknown):
        bridge(bridged, "P01", "P77")
    with pytest.raises(NotPossible, match="cannot be tested"):
        bridge(bridged, "P01", "P03", factor=0.5)


def test_a_carried_result_cites_the_bridge_and_no_duration_moves(bridged: StudyFile, signature: Signature) -> None:
    """The act keeps the bridge in one line and shows it beside the evidence; what stands for either stays the same."""
    before = [stand_of(bridged, key).analysed.estimate.duration for key in ("P01", "P03")]
    cited = carry_result(bridged, "P01", adhesive="gel-b", signature=signature)
    assert cited.startswith("P03 against P01 at 3 months: force ratio 1.14 (")
    kept = json.loads(bridged.rows("SELECT after FROM changes ORDER BY number DESC LIMIT 1")[0]["after"])
    assert kept == {"adhesive": "gel-b", "bridge": cited}
    assert remarks(bridged, "P01")[-1] == (
        f"Results count for gel-b too. R. Vale, 2026-03-02: Because the test needs it. Bridge: {cited}"
    )
    assert [stand_of(bridged, key).analysed.estimate.duration for key in ("P01", "P03")] == before


def test_without_a_bridging_set_that_is_said(study: StudyFile, signature: Signature) -> None:
    """A result may be carried without one, by a reason alone; it is said that none stood beside it."""
    register_one(
        study, "adhesives",
        {"adhesive": "gel-c", "name": "Gel C", "composition_class": "acrylic gel", "formulation_version": "1"},
        signature=signature,
    )  # fmt: skip
    assert carry_result(study, "P01", adhesive="gel-c", signature=signature) == ""
    assert remarks(study, "P01")[-1].endswith("No bridging set stood beside it.")
