"""Changed settings, before and after."""

from __future__ import annotations

import json

import pytest

from diagnostics.errors import InputError
from diagnostics.estimate import Estimate
from diagnostics.what_if import what_if
from tests.energy import made
from tests.energy.case import diagnosis
from tests.shared_data import shared


def test_nothing_changed_changes_nothing() -> None:
    case = diagnosis(made.plant(made.HEATLESS))
    result = what_if(case, {})
    assert result.before.switching.figures == result.after.switching.figures
    assert result.before.purge == result.after.purge
    assert result.before.payback == result.after.payback


def test_a_cap_takes_effect_as_a_plant_file_with_that_cap_would() -> None:
    case = diagnosis(made.plant(made.HEATLESS))
    result = what_if(case, {"dryer.longest_half_cycle_s": 400.0})
    fresh = diagnosis(made.plant(made.HEATLESS, dryer__longest_half_cycle_s=400.0))
    assert result.after.switching.figures == fresh.switching.figures
    assert result.after.payback == fresh.payback
    assert result.after.switching.limited_by == "longest_half_cycle"
    assert result.before.switching.figures.half_cycle_s.value > 400.0


def test_a_price_moves_money_and_nothing_else() -> None:
    result = what_if(diagnosis(made.plant(made.HEATLESS)), {"economics.electricity_price_per_kwh": 0.30})
    before, after = result.before.switching.figures, result.after.switching.figures
    assert after.energy_saved_kwh_per_year == before.energy_saved_kwh_per_year
    assert after.cost_saved_per_year.value == pytest.approx(2 * before.cost_saved_per_year.value)


def test_a_timer_set_longer_saves_at_once_and_leaves_less_for_switching() -> None:
    result = what_if(diagnosis(made.plant(made.HEATLESS)), {"dryer.half_cycle_s": 450.0})
    before, after = result.before, result.after
    assert after.switching.figures.half_cycle_s.value == pytest.approx(before.switching.figures.half_cycle_s.value)
    share = after.switching.figures.regenerations_saved_share.value
    assert share < before.switching.figures.regenerations_saved_share.value


def test_typical_flow_is_taken_up() -> None:
    result = what_if(diagnosis(made.plant(made.HEATLESS)), {"operation.flow_m3_min": 3.5})
    lengths = [c.switching.figures.half_cycle_s.value - 5 for c in (result.before, result.after)]
    assert lengths[1] == pytest.approx(2 * lengths[0])


def test_a_moved_limit_is_named() -> None:
    margin = made.margin(sustained_s=Estimate(236.0, 129.0, 343.0))
    case = diagnosis(made.plant(made.HEATLESS), margin=margin)
    drier, wetter = (what_if(case, {"dryer.dew_point_limit_c": limit}) for limit in (-50.0, -30.0))
    lengths = [r.after.switching.figures.half_cycle_s.value for r in (drier, wetter)]
    assert lengths[0] < case.switching.figures.half_cycle_s.value < lengths[1]
    assert "limit moves" in drier.notes[0]


def test_a_new_rating_does_not_move_what_the_log_showed() -> None:
    margin = made.margin(Estimate(0.8, 0.75, 0.85), reserve_from="log")
    result = what_if(diagnosis(made.plant(made.HEATLESS), margin=margin), {"dryer.rated_flow_m3_min": 12.0})
    lengths = [c.switching.figures.half_cycle_s.value for c in (result.before, result.after)]
    assert lengths[0] == pytest.approx(lengths[1])


@pytest.mark.parametrize(
    ("settings", "says"),
    [
        ({"dryer.longest": 5}, "longest_half_cycle_s"),
        ({"dryer.purge_share": 1.5}, "dryer.purge_share"),
        ({"longest": 5}, "not a setting"),
        ({"tables.": 5}, "not a setting"),
    ],
)
def test_senseless_settings_are_refused(settings: dict, says: str) -> None:
    with pytest.raises(InputError, match=says):
        what_if(diagnosis(made.plant(made.HEATLESS)), settings)


def test_none_takes_a_key_away() -> None:
    result = what_if(diagnosis(made.plant(made.HEATLESS)), {"economics.electricity_price_per_kwh": None})
    assert result.after.purge.cost_per_year is None


def test_lists_are_left_to_the_plant_file() -> None:
    plant = made.plant({**made.HEATLESS, "profile": [{"hours": 8000, "flow_m3_min": 7.0}]})
    with pytest.raises(InputError, match="list"):
        what_if(diagnosis(plant), {"profile.hours": 5})


@pytest.mark.parametrize("use", ["medical", "breathing"])
@pytest.mark.parametrize(
    ("key", "value"),
    [("dryer.half_cycle_s", 600.0), ("dryer.dew_point_limit_c", -20.0), ("site.air_use", "general")],
)
def test_air_for_people_is_not_reckoned_at_another_regeneration(use: str, key: str, value: object) -> None:
    case = diagnosis(made.plant(made.HEATLESS, site__air_use=use))
    with pytest.raises(InputError, match="responsible person decides"):
        what_if(case, {key: value})
    priced = what_if(case, {"economics.electricity_price_per_kwh": 0.30})
    assert priced.after.switching.limited_by == "air_use"
    assert priced.after.payback.npv is None


def test_the_command_line_offers_nothing_for_air_for_people(tmp_path) -> None:
    from click.testing import CliRunner

    from diagnostics.verbs.what_if import verb

    folder = shared("examples") / "underloaded"
    plant = tmp_path / "plant.toml"
    text = (folder / "plant.toml").read_text(encoding="utf-8")
    plant.write_text(text.replace("[site]", '[site]\nair_use = "breathing"', 1), encoding="utf-8")
    asked = [str(folder / "log.csv"), "--plant", str(plant), "--json", str(tmp_path / "out.json")]
    refused = CliRunner().invoke(verb, [*asked, "--set", "dryer.half_cycle_s=600"])
    assert isinstance(refused.exception, InputError)
    done = CliRunner().invoke(verb, [*asked, "--set", "economics.electricity_price_per_kwh=0.3"])
    assert done.exit_code == 0, done.output
    told = json.loads((tmp_path / "out.json").read_text(encoding="utf-8"))
    for side in ("before", "after"):
        assert told[side]["switching"]["limited_by"] == "air_use"
        assert told[side]["switching"]["regenerations_saved_share"] is None
        assert told[side]["payback"]["npv"] is None
    assert not told["levers"]["levers"]
