"""Any mixture of everyday habits of writing a log down reads to the same instants and numbers, or is refused.

Never a traceback, never another time or number: what cannot be read for sure ends in one sentence.
"""

from __future__ import annotations

import tempfile
from pathlib import Path

import numpy as np
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from diagnostics.errors import InputError
from tests.log.reencoded import clean_log, plant_of, read_bytes, text
from tests.log.test_reading_everyday import STAMPS, german

CLEAN = clean_log(200)
TITLES = (
    ("Zeit", "Taupunkt [°C]", "Volumenstrom [m³/min]"),
    ("Date/Time", "PDP (°C)", "Air flow (m³/min)"),
    ("Horodatage", "Point de rosée (°C)", "Débit (m³/min)"),
    ("Data e ora", "Punto di rugiada [°C]", "Portata [m3/min]"),
    ("Tid", "Daggpunkt °C", "Flöde m³/min"),
)
PREAMBLES = (
    "Logger 5", "Serial number: 4711", "# comment", "Device;Logger;", "Interval,5,min", "", "Site\tHall 3",
    "Start: 13.01.2026", '"quoted, text"', "Range: -80 ... +20 °C", "--------", "Channel 1: Dew point [°C]",
)  # fmt: skip
FOOTERS = ([], ["End of file"], ["", ""], ["# end"], ["Records: 200"])
NUMBERS = (
    lambda v: f"{v:.2f}",
    lambda v: f"{v:.2f}".replace("-", "\u2212"),
    lambda v: f"{v:+.2f}",
    lambda v: f" {v:.2f} ",
)


@st.composite
def written(draw: st.DrawFn) -> bytes:
    """Bytes of the log with habits drawn at will."""
    delimiter, titles = draw(st.sampled_from(";\t|,")), draw(st.sampled_from(TITLES))
    plain = text(
        CLEAN,
        stamp=draw(st.sampled_from([german, *STAMPS.values()])),
        delimiter=delimiter,
        decimal=draw(st.sampled_from(".,")),
        titles=titles,
        number=draw(st.sampled_from(NUMBERS)),
        newest_first=draw(st.booleans()),
    )
    lines = plain.decode().splitlines()
    beside = draw(st.sampled_from([None, ("Status", "OK"), ("", ""), ("Channel", "5")]))
    if beside is not None and draw(st.booleans()):
        lines = [delimiter.join((beside[k > 0], line)) for k, line in enumerate(lines)]
    elif beside is not None:
        lines = [delimiter.join((line, beside[k > 0])) for k, line in enumerate(lines)]
    if draw(st.booleans()):
        lines.insert(120, lines[0])
    lines = draw(st.lists(st.sampled_from(PREAMBLES), max_size=8)) + lines + draw(st.sampled_from(FOOTERS))
    if draw(st.booleans()):
        lines = [part for line in lines for part in (line, "")]
    if draw(st.booleans()):
        lines = [line + delimiter for line in lines]
    encoding = draw(st.sampled_from(["utf-8", "utf-8-sig", "utf-16", "utf-16-le"]))
    return draw(st.sampled_from(["\n", "\r\n", "\r"])).join(lines).encode(encoding)


@settings(max_examples=60, deadline=None, derandomize=True, suppress_health_check=[HealthCheck.too_slow])
@given(written())
def test_a_mixture_of_habits_reads_the_same_or_is_refused(data: bytes) -> None:
    with tempfile.TemporaryDirectory() as folder:
        try:
            log = read_bytes(Path(folder), "log.csv", data, plant_of(CLEAN))
        except InputError as error:
            said = str(error)
        else:
            said = ""
    if said:
        assert "\n" not in said
        return
    assert log.time_s.size == CLEAN.time_s.size
    np.testing.assert_allclose(log.time_s, CLEAN.time_s, atol=2e-3)
    np.testing.assert_allclose(log.channels["dew_point"], CLEAN.dew_point_c, atol=0.011)
