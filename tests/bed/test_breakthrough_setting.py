"""The timer setting that is offered: whole steps of a dial, within the plant's bounds, never longer while wet."""

from __future__ import annotations

import dataclasses

import pytest

from diagnostics.bed.duty import duty_of
from diagnostics.bed.margin import Margin, Question
from diagnostics.bed.setting import recommended_setting
from diagnostics.estimate import Estimate
from tests.bed.front_logs import HALF_CYCLE_S, front_log


def question(**changes) -> Question:
    log = front_log(1, days=1.0)
    asked = Question(
        screened=log.screened,
        cycle=log.cycle,
        plant=log.plant,
        duty=duty_of(log.screened, log.plant),
        limit_moisture=1.6e-5,
        today_s=HALF_CYCLE_S,
        rise_c=3.0,
        limit_deviation=0.1,
        reached=False,
    )
    return dataclasses.replace(asked, **changes)


def margin(low: float, value: float, high: float) -> Margin:
    return Margin(None, None, Estimate(value, low, high), None, False, "given")


def test_the_lower_bound_at_peak_load_is_what_may_be_set():
    setting, notes = recommended_setting(margin(3700.0, 6000.0, 9000.0), question())
    assert setting == HALF_CYCLE_S + 3600.0
    assert any("Trial" in note and "two days" in note for note in notes)


def test_an_interval_around_nought_leaves_today():
    setting, notes = recommended_setting(margin(-500.0, 400.0, 1300.0), question())
    assert setting == HALF_CYCLE_S
    assert notes == ()


def test_a_negative_margin_shortens_to_what_can_be_vouched_for():
    plant = question().plant
    short = dataclasses.replace(plant, dryer=plant.dryer.model_copy(update={"purge_s": 9000.0}))
    setting, notes = recommended_setting(margin(-700.0, -350.0, 100.0), question(plant=short))
    assert setting == HALF_CYCLE_S - 900.0
    assert any("would be safe" in note for note in notes)


def test_no_setting_is_called_safe_that_leaves_no_room_for_the_regeneration():
    setting, notes = recommended_setting(margin(-2000.0, -650.0, 100.0), question())
    assert question().plant.dryer.purge_s <= setting < HALF_CYCLE_S
    assert not any("would be safe. " in note for note in notes)
    assert any("no room for the regeneration" in note for note in notes)


def test_nothing_is_lengthened_while_the_limit_is_passed():
    setting, notes = recommended_setting(margin(3700.0, 6000.0, 9000.0), question(reached=True))
    assert setting == HALF_CYCLE_S
    assert any("mend the cause" in note for note in notes)


@pytest.mark.parametrize("air_use", ["medical", "breathing"])
def test_air_that_people_breathe(air_use: str):
    asked = question()
    site = asked.plant.site.model_copy(update={"air_use": air_use})
    asked = dataclasses.replace(asked, plant=dataclasses.replace(asked.plant, site=site))
    setting, notes = recommended_setting(margin(3700.0, 6000.0, 9000.0), asked)
    assert setting <= HALF_CYCLE_S
    assert any("responsible person decides" in note for note in notes)


def test_the_longest_half_cycle_binds_and_is_named():
    setting, notes = recommended_setting(margin(90_000.0, 100_000.0, 110_000.0), question())
    assert setting == question().plant.dryer.longest_half_cycle_s
    assert any("longest_half_cycle_s" in note for note in notes)


def test_without_a_margin_nothing_is_offered():
    assert recommended_setting(Margin(None, None, None, None, True, "none"), question()) == (None, ())


def test_no_timer_is_offered_while_switching_has_stopped():
    stopped = dataclasses.replace(question().cycle, control="stopped")
    setting, notes = recommended_setting(margin(3700.0, 6000.0, 9000.0), question(cycle=stopped))
    assert setting == HALF_CYCLE_S
    assert "mend" in notes[0]
