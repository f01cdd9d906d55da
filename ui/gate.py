"""What every screen needs first: the visitor's log and diagnosis, or a way to one."""

from __future__ import annotations

import json
import logging
import time
import tomllib
from collections.abc import Callable
from typing import Any

import streamlit as st

from diagnostics.diagnosis import Diagnosis
from diagnostics.errors import UserError
from diagnostics.log.record import Log
from diagnostics.plant import plant_from
from ui import cached, state
from ui.state import Files
from ui.words import plain, show_sentence
from ui.work import Stopped, Work

_LOOK_AGAIN_S = 0.25
_UNEXPECTED = (
    "The engine met something in this log that it does not know. The server's own record has the details; the log and"
    " the settings are kept. Try a shorter stretch of the log, or check the columns under The log."
)


def log_or_stop(teaches: str = "") -> Log:
    """Log of the visit; where there is none, the screen says what it would show and how to get one, and ends."""
    settle()
    if not state.files():
        st.info(f"No log yet. {teaches} Upload one under **The log**, or look at an invented plant.".replace("  ", " "))
        offer_invented()
        st.stop()
    key = (state.digest(), state.plant_text(), state.columns_text(), state.files())
    work = cached.log_work(*key, again=not state.halted())
    if work.stopped and state.halted():
        st.warning("Reading was stopped.")
        st.button("Read the log now", on_click=state.try_again, key="read_again")
        st.stop()
    if not work.wait(_LOOK_AGAIN_S):
        _watch(work, _stop)
    try:
        return work.result()
    except Stopped:  # by another visit that looks at the same log
        st.rerun()
    except UserError as error:
        show_sentence(str(error))
    except Exception:
        logging.getLogger(__name__).exception("reading failed")
        show_sentence(_UNEXPECTED)
    st.stop()
    raise AssertionError("st.stop ends the run")


def is_diagnosed() -> bool:
    """Whether the diagnosis of what is kept is there at once; it is begun where it was not."""
    return not state.halted() and _work(log_or_stop()).wait(0.05)


def _work(log: Log) -> Work[Diagnosis]:
    return cached.diagnosis_work(*state.key(), state.attempt(), log)


def diagnosis_or_none(teaches: str = "") -> Diagnosis | None:
    """Diagnosis of the visit, waited for with its progress in sight; None where it failed or was stopped."""
    log = log_or_stop(teaches)
    if state.halted():
        st.warning("The diagnosis was stopped.")
        st.button("Diagnose now", on_click=state.try_again, key="diagnose_again")
        return None
    work = _work(log)
    if not work.wait(_LOOK_AGAIN_S):
        _watch(work, _stop)
    try:
        return work.result()
    except Stopped:  # by another visit that looks at the same log
        state.try_again()
        st.rerun()
    except UserError as error:
        show_sentence(str(error))
    except Exception:
        logging.getLogger(__name__).exception("the diagnosis failed")
        show_sentence(_UNEXPECTED)
    return None


def diagnosis_or_stop(teaches: str = "") -> Diagnosis:
    """Diagnosis of the visit; where there is none, the screen says why and ends."""
    diagnosis = diagnosis_or_none(teaches)
    if diagnosis is None:
        st.stop()
        raise AssertionError("st.stop ends the run")
    return diagnosis


def _watch(work: Work[Any], on_stop: Callable[[Work[Any]], None]) -> None:
    """Show step and time until the work ends; every look is also a chance to press Stop."""
    place = st.empty()
    began = time.monotonic()
    with place.container(border=True):
        words = st.empty()
        st.button("Stop", on_click=on_stop, args=(work,), key="stop_work", icon=":material/stop_circle:")
    while not work.wait(_LOOK_AGAIN_S):
        step = plain(work.step[:1].upper() + work.step[1:])
        words.markdown(f":material/hourglass_top: {step} ({time.monotonic() - began:.0f} s)")
    place.empty()


def _stop(work: Work[Any]) -> None:
    work.stop()
    state.halt()


def _stop_wanted(work: Work[Any]) -> None:
    """Let go of files being read; the thread ends at its next line of Python, nobody waits for it."""
    work.stop()
    state.want_no_more()
    st.toast(
        "Reading was stopped; what was here before is kept. To read the file after all, take it off the list and upload"
        " it again.",
        duration="long",
    )


def take_files(new: Files, columns: dict[str, str] | None = None, tables: dict[str, object] | None = None) -> None:
    """Ask for uploaded logs, with answers about them; `settle` reads them, where that can be watched and stopped."""
    text = state.plant_text() if tables is None else json.dumps(tables, sort_keys=True, default=str)
    state.want(new, columns or {}, text)


def take_answers(columns: dict[str, str], tables: dict[str, object]) -> None:
    """Ask for the log to be read again with corrected guesses."""
    state.want(state.files(), columns, json.dumps(tables, sort_keys=True, default=str))


def settle() -> None:
    """Read what is wanted and take it if it can be read; otherwise say why and keep what was there."""
    wanted = state.wanted()
    if wanted is None:
        return
    new, digest, columns, plant = wanted
    try:
        plant_from(json.loads(plant))
        work = cached.log_work(digest, plant, columns, new)
        if not work.wait(_LOOK_AGAIN_S):
            _watch(work, _stop_wanted)
        work.result()
    except Stopped:  # by another visit that looks at the same log
        st.rerun()
    except UserError as error:
        _refuse(str(error), new, digest)
    except Exception:
        logging.getLogger(__name__).exception("reading failed")
        _refuse(_UNEXPECTED, new, digest)
    else:
        state.keep_trouble("")
        if digest != state.digest():
            state.keep_files(new)
        if plant != state.plant_text():
            state.keep_plant(json.loads(plant))
        state.keep_columns(json.loads(columns))
        state.want_no_more()  # last: a page that is drawn anew in the midst of this begins it again


def _refuse(sentence: str, new: Files, digest: str) -> None:
    state.keep_trouble(sentence)
    if digest != state.digest():
        state.keep_refused(new)
    state.want_no_more()


def take_plant(text: bytes | str, name: str) -> None:
    """Take a plant file if it is sound; otherwise say why and keep what was there."""
    try:
        words = text.decode("utf-8-sig") if isinstance(text, bytes) else text
        tables = tomllib.loads(words.replace("\r\n", "\n"))
        plant_from(json.loads(json.dumps(tables, default=str)), source=name)
    except (UnicodeDecodeError, tomllib.TOMLDecodeError) as error:
        state.keep_trouble(f"{name}: not valid TOML, {error}; is it a plant file? Text values need quotation marks.")
        return
    except UserError as error:
        state.keep_trouble(str(error))
        return
    state.keep_trouble("")
    state.keep_plant(tables)


def offer_invented() -> None:
    """Button that loads an invented plant."""
    if st.button("Look at an invented plant", icon=":material/factory:", key="invented"):
        text, log = cached.invented()
        take_plant(text, "the invented plant")
        take_files((("invented plant.csv", log),))
        st.rerun()
