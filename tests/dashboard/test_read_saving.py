"""What was typed against what stands: the same is saved once, another unit is another force."""

from __future__ import annotations

from datetime import date

from dashboard.read.saving import not_yet_saved
from study.commands.pull import record_pulls
from study.commands.read import record_reading
from study.commands.read_form import coupon_form
from study.model.person import Signature
from study.store.coupons import fetch_coupons
from study.store.study_file import StudyFile


def test_only_the_very_same_counts_as_saved(study: StudyFile, signature: Signature) -> None:
    """5.1 N typed again is saved already; 5.1 lbf is not, and neither is 5.2 N."""
    code = next(c.code for c in fetch_coupons(study).values() if c.test == "pull-off-dot")
    record_pulls(study, [code], kind="pulled", on=date(2025, 4, 15), signature=signature)
    typed = {"removal_force": "5.1", "force_unit": "N"}
    record_reading(study, code, typed, read_on=date(2025, 4, 16), signature=signature)
    form = coupon_form(study, code)
    assert not_yet_saved(form, typed) == {}
    assert not_yet_saved(form, {**typed, "force_unit": "lbf"}) == {**typed, "force_unit": "lbf"}
    assert not_yet_saved(form, {**typed, "removal_force": "5.2"}) == {**typed, "removal_force": "5.2"}
