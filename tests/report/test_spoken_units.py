"""Sentences of findings and notes follow the units and the number format that a reader chose."""

from __future__ import annotations

import re
from dataclasses import replace

import pytest

from diagnostics import diagnose, load_plant, read_log
from diagnostics.diagnosis import Diagnosis
from diagnostics.report.figures import METRIC, US
from diagnostics.report.spoken_units import speak
from tests.shared_data import shared

CONTINENTAL = replace(METRIC, group=".", decimal=",")
LEFT = re.compile(r"\d ?(?:°C|bar|m³/min|K(?! per K))(?!\w)")

# Conversions: °F = 1.8 °C + 32; 1 psi = 6.894757 kPa; 1 ft³ = 0.0283168466 m³ (NIST SP 811, appendix B.8).
SAID = [
    ("The peak is −41.3 °C.", "The peak is −42.3 °F."),
    ("Parts stay at 150 to 300 °C for hours.", "Parts stay at 302 to 572 °F for hours."),
    ("between -40.0 and −10 °C", "between −40.0 and 14 °F"),
    ("of 3 and 5 °C", "of 3 and 41 °F"),
    ("jumps from 3.0 °C to -5.0 °C within", "jumps from 37.4 °F to 23.0 °F within"),
    ("above +10 °C", "above +50 °F"),
    ("The towers differ by 1.5 K.", "The towers differ by 2.7 °F."),
    ("climb by 0.50 K a day (0.10 to 0.90)", "climb by 0.90 °F a day (0.18 to 1.62)"),
    ("0.40 K per K", "0.40 K per K"),
    ("takes 3.37 m³/min (3.10 to 3.67) of air", "takes 119 cfm (109 to 130) of air"),
    ("at 7.00 bar gauge (8.01 bar absolute)", "at 102 psi gauge (116 psi absolute)"),
    ("at 7 bar gauge (8.01 bar absolute, 102 psi gauge)", "at 102 psi gauge (116 psi absolute)"),
    ("0.3 bar", "4.35 psi"),
    ("6.2 kW per m³/min", "17.6 kW per 100 cfm"),
    ("5 to 7 kW per m³/min", "14.2 to 19.8 kW per 100 cfm"),
    ("ISO 8573-1:2010, ANSI/ISA-7.0.01-1996", "ISO 8573-1:2010, ANSI/ISA-7.0.01-1996"),
    ('the column "Peak 5 °C" at 5 °C', 'the column "Peak 5 °C" at 41 °F'),
    ("10,800 EUR (5,230 to 13,900)", "10,800 EUR (5,230 to 13,900)"),
]


@pytest.mark.parametrize(("metric", "us"), SAID)
def test_quantities_are_turned(metric: str, us: str) -> None:
    assert speak(metric, US) == us


@pytest.mark.parametrize(("metric", "us"), SAID)
def test_metric_readers_lose_no_digit(metric: str, us: str) -> None:
    assert speak(metric, METRIC).replace("−", "-") == metric.replace("−", "-")


@pytest.mark.parametrize(
    ("plain", "said"),
    [
        ("10,800 EUR (5,230 to 13,900) a year", "10.800 EUR (5.230 to 13.900) a year"),
        ("53.4 % at −41.3 °C. Then 1,234.5 kWh.", "53,4 % at −41,3 °C. Then 1.234,5 kWh."),
        ("2026-03-02 07:30, class 2; ISA-7.0.01", "2026-03-02 07:30, class 2; ISA-7.0.01"),
        ("the file 'a 1.5.csv'", "the file 'a 1.5.csv'"),
    ],
)
def test_numbers_follow_the_format(plain: str, said: str) -> None:
    assert speak(plain, CONTINENTAL) == said


def sentences(diagnosis: Diagnosis) -> list[str]:
    said = []
    for finding in diagnosis.findings:
        said += [finding.statement, finding.action, finding.caution, *finding.evidence, *finding.other_causes]
    for part in (diagnosis.purity, diagnosis.trend, diagnosis.breakthrough, diagnosis.purge, diagnosis.switching):
        said += part.notes
    return said


@pytest.mark.parametrize("name", ["imbalance", "overload", "regeneration_failure", "settling", "atmospheric_basis"])
def test_no_sentence_of_a_diagnosis_stays_metric(name: str) -> None:
    folder = shared("examples") / name
    plant = load_plant(folder / "plant.toml")
    said = sentences(diagnose(read_log([folder / "log.csv"], plant), plant))
    assert any(LEFT.search(sentence) for sentence in said), "the log has quantities to turn"
    for sentence in said:
        assert not LEFT.search(speak(sentence, US)), sentence
        numbers = [len(re.findall(r"\d+(?:[.,]\d+)*", text)) for text in (sentence, speak(sentence, US))]
        assert numbers[0] <= numbers[1] <= numbers[0] + sentence.count("per m³/min"), "no number is lost"


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("changed by -40 to +45 % over the log.", "changed by −40 to +45 % over the log."),
        ("(-3 of 8)", "(−3 of 8)"),
        ("the 10-year case of 2026-03-02", "the 10-year case of 2026-03-02"),
        ("column '-5 a'", "column '-5 a'"),
    ],
)
def test_a_typed_minus_becomes_one(text: str, said: str) -> None:
    assert speak(text, METRIC) == said


def test_a_pressure_that_says_itself_twice_says_it_once() -> None:
    said = speak("the plant file has 7 bar gauge (8.01 bar absolute, 102 psi gauge, assumed).", US)
    assert said == "the plant file has 102 psi gauge (116 psi absolute, assumed)."
