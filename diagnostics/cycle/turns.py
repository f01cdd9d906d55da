"""Switchovers by their suddenness: within a half-cycle the trace bends slowly, at a switchover it turns at once.

Under dew point control a fresh tower may leap up as well as fall: after a run of short half-cycles, or while a heatless
dryer fills. Each reading is asked how far the next ones leave the straight line through the last ones. Of places that
turn, those are taken that turn most and lie a shortest half-cycle apart; what follows within that time is the answer's
own tail. The first turn of an answer is the switchover, whether a spike tops it or not.
"""

from __future__ import annotations

import itertools

import numpy as np

from diagnostics.cycle.events import digit_of
from diagnostics.cycle.onset import answered_s
from diagnostics.cycle.trace import Trace
from diagnostics.log.record import Flags, Floats

LINE, LONG_LINE = 3, 8
"""Readings of the line before a turn; of a longer one, for weak turns far from any other."""
APART = 0.9
"""Shortest half-cycles that two switchovers are apart at least: each is placed to a twentieth."""
STANDS_OUT, LEAST_SHARE = 4.5, 0.2
"""Scatters of the departure, and share of the usual turn, that make a turn."""
AT_MOST = 0.6
"""Share of the usual turn that is never asked for more than."""
COARSE = 0.3
"""Last digit over the usual turn from which nothing before a highest reading can be told."""
BACK, MOST_BACK, LEAST_BACK, EARLIER, BEFORE, FAINT = 0.25, 12, 3, 0.1, 3.0, 2.0
"""Share of a shortest half-cycle, and readings, within which an answer's first turn lies before its largest, the share
of the largest turn that the first one has at least, and the scatters of the departure by which it stands out,
alone and where other answers of the log begin the same way."""
QUIET, LEAST_QUIET, MOST_ANSWER = 2.0, 3, 400
"""Times the usual departure below which, and readings in a row after which, an answer is over; readings looked at."""
CLEAR, CLEAR_SHARE = 7.0, 0.5
"""Scatters by which a timer's switchovers must turn to be seen one by one, and the share of that for each of them."""
STILL = 4.0
"""Growth of a departure from one reading to the next beyond which the first of them is still on the line."""
LONG_GAP, LONG_SHARE = 1.6, 0.15
"""Shortest half-cycles from which a weak turn is looked for between two switchovers, and the share of one that the
longer line may take."""
TOGETHER, MANY = 8, 0.15
"""Answers laid on top of each other at least, and share of answers with a spike that makes it the log's habit."""


def turned_s(trace: Trace, peak_s: Floats, shortest_s: float) -> tuple[Floats, Flags]:
    """Instants at which the trace turns as it does at known falls.

    Parameters
    ----------
    trace : Trace
    peak_s : ndarray
        Highest readings before falls known to be switchovers [epoch s].
    shortest_s : float
        Half-cycle that the control does not undercut [s].

    Returns
    -------
    ndarray
        Ascending [epoch s]; falls that nothing sudden shows are not among them.
    ndarray of bool
        Which of them turn half as much as the known falls do, or more.
    """
    turn = _departure(trace, LINE)
    noise = _scatter(trace, turn, LINE)
    known = np.searchsorted(trace.time_s, peak_s)
    around = np.clip(known[:, None] + np.arange(-LEAST_BACK - 1, 2)[None, :], 0, turn.size - 1)
    usual = float(np.median(np.abs(turn[around]).max(axis=1)))
    if usual < STANDS_OUT * noise:
        # turns as small as the noise's own tell nothing beside the falls
        return _begun_falls(trace, peak_s, usual), np.ones(peak_s.size, dtype=bool)
    answer_s = min(_answer_s(trace, turn, peak_s), APART * float(np.diff(peak_s).min()))
    least = min(max(STANDS_OUT * noise, LEAST_SHARE * usual), AT_MOST * usual)
    apart_s = max(APART * shortest_s, answer_s)
    place = _chosen(trace.time_s, turn, _sudden(turn, least), least, apart_s)
    back = int(np.clip(BACK * shortest_s / trace.interval_s, LEAST_BACK, MOST_BACK))
    first = _first_of_answer(turn, place, BEFORE * noise, back)
    first = _alike(turn, place, first, FAINT * noise)
    begun = _begun(trace.value, turn, first)
    whole = np.floor(begun).astype(np.int64).clip(0, trace.time_s.size - 1)
    at = trace.time_s[whole] + trace.interval_s * (begun - whole)
    late = (turn[place] < 0.0) & (first == place)
    if int((first < place).sum()) >= max(TOGETHER, MANY * place.size):
        # some falls hide a spike, others follow the switchover at once: between the two
        at = np.where(late, trace.time_s[place], at)
    at = np.where(late, at - _lead_together(trace, turn, place[late], noise, back), at)
    return at, np.abs(turn[place]) >= CLEAR_SHARE * usual


def _begun_falls(trace: Trace, peak_s: Floats, usual: float) -> Floats:
    """Falls from where their rise steepened; from their peak where the last digit is as large as a turn."""
    return peak_s if digit_of(trace.value) > COARSE * usual else answered_s(trace, peak_s)


def _departure(trace: Trace, line: int) -> Floats:
    """How far the readings after each one leave the line through the last ``line`` ones; 0 beside a hole."""
    value, many = trace.value, trace.value.size
    ahead = max(2, line // 2)
    found = np.zeros(many)
    if many < line + ahead:
        return found
    even = np.arange(1 - line, 1.0)
    weight = np.linalg.pinv(np.stack([np.ones(line), even], axis=1))
    count = many - line - ahead + 1
    level, rate = np.zeros(count), np.zeros(count)
    for i in range(line):
        level += weight[0, i] * value[i : i + count]
        rate += weight[1, i] * value[i : i + count]
    last = slice(line - 1, line - 1 + count)
    own = found[last]
    for step in range(1, ahead + 1):
        off = value[line - 1 + step : line - 1 + step + count] - level - step * rate
        np.copyto(own, off, where=np.abs(off) > np.abs(own))
    length = trace.time_s[line + ahead - 1 :] - trace.time_s[:count]
    own[length > (line + ahead - 0.5) * trace.interval_s] = 0.0
    return found


def _scatter(trace: Trace, turn: Floats, line: int) -> float:
    """Scatter of a departure where nothing turns: by the quieter readings or third differences, and the last digit."""
    change = np.abs(np.diff(trace.value))
    digit = float(change[change > 0].min()) if (change > 0).any() else 0.0
    ahead = float(max(2, line // 2))
    middle = 0.5 * (line - 1.0) + ahead
    wider = float(np.sqrt(1.0 + 1.0 / line + 12.0 * middle**2 / (line * (line**2 - 1.0))))
    quiet = np.abs(turn[turn != 0.0])
    # three tenths of the readings depart by less than 0.4 scatters
    usual = float(np.quantile(quiet, 0.3)) / 0.4 if quiet.size else 0.0
    third = 1.4826 * float(np.median(np.abs(np.diff(trace.value, 3)))) / np.sqrt(20.0) if turn.size > 3 else 0.0
    return max(min(usual, wider * third), wider * digit / np.sqrt(12.0)) + 1e-9


def _answer_s(trace: Trace, turn: Floats, peak_s: Floats) -> float:
    """How long the trace goes on turning after most falls [s]: a shortest half-cycle that is shorter cannot be seen."""
    reach = int(min(MOST_ANSWER, LEAST_QUIET + np.diff(peak_s).min() / trace.interval_s))
    at = np.searchsorted(trace.time_s, peak_s)[:, None] + np.arange(reach)[None, :]
    after = np.median(np.abs(turn[np.minimum(at, turn.size - 1)]), axis=0)
    quiet = after <= QUIET * float(np.median(np.abs(turn)))
    still = np.convolve(quiet, np.ones(LEAST_QUIET), mode="valid") >= LEAST_QUIET
    return trace.interval_s * float(np.argmax(still) if still.any() else reach)


def _sudden(turn: Floats, least: float) -> np.ndarray:
    """Places that turn at least so much, and more than those beside them that turn the same way."""
    size = np.abs(turn)
    before, after = np.roll(turn, 1), np.roll(turn, -1)
    most = (size >= np.sign(turn) * before) & (size > np.sign(turn) * after) & (size >= least)
    # what follows a hole may be the tail of an answer in it
    return np.flatnonzero(most & (before != 0.0))


def _chosen(time_s: Floats, turn: Floats, place: np.ndarray, least: float, apart_s: float) -> np.ndarray:
    """Of places those that turn most together (sum of logarithms), each so long after the one before."""
    if place.size == 0:
        return place
    worth = np.log(np.abs(turn[place]) / least) + 0.5
    at = time_s[place]
    before = np.searchsorted(at, at - apart_s, side="right").tolist()
    best, taken = [0.0], []
    for own, earlier in zip(worth.tolist(), before, strict=True):
        with_it = own + best[earlier]
        taken.append(with_it > best[-1])
        best.append(max(with_it, best[-1]))
    chain, i = [], place.size
    while i > 0:
        if taken[i - 1]:
            chain.append(i - 1)
            i = before[i - 1]
        else:
            i -= 1
    return place[chain[::-1]]


def _first_of_answer(turn: Floats, place: np.ndarray, least: float, back: int) -> np.ndarray:
    """Largest turn the other way within ``back`` readings before each place, where there is one: a spike's foot."""
    sign = np.sign(turn[place])
    first, size = place.copy(), np.maximum(least, EARLIER * np.abs(turn[place]))
    for step in range(1, back + 1):
        at = np.maximum(place - step, 1)
        own = -sign * turn[at]
        most = (own >= size) & (own >= -sign * turn[at - 1]) & (own >= -sign * turn[at + 1])
        first, size = np.where(most, at, first), np.where(most, own, size)
    return first


def _alike(turn: Floats, place: np.ndarray, first: np.ndarray, least: float) -> np.ndarray:
    """Where many answers of the log begin with a spike, a fainter foot is believed, as long before as theirs."""
    spiked = (first < place) & (turn[place] < 0.0)
    if int(spiked.sum()) < max(TOGETHER, MANY * place.size):
        # few and faint ones are chance
        return np.where(np.abs(turn[first]) >= STANDS_OUT / FAINT * least, first, place)
    usual = round(float(np.median((place - first)[spiked])))
    near = np.abs(place - first - usual) <= 2
    found, size = np.where(spiked & ~near, place, first), np.full(place.size, least)
    open_ = (turn[place] < 0.0) & (found == place)
    for step in (usual - 1, usual, usual + 1):
        at = np.maximum(place - max(step, 1), 0)
        more = (turn[at] >= size) & open_
        found, size = np.where(more, at, found), np.where(more, turn[at], size)
    return found


def _begun(value: Floats, turn: Floats, place: np.ndarray) -> Floats:
    """Place at which the trace left its line, in readings: by how the departure grows, between two readings."""
    sign = np.sign(turn[place])
    grown = _growth(value, place, sign)
    # the next reading is on the line still: the turn was felt a reading ahead
    ahead = np.where(grown > STILL, np.minimum(place + 1, value.size - 3), place)
    again = _growth(value, ahead, sign)
    better = (again > 0.0) & (ahead > place)
    place, grown = np.where(better, ahead, place), np.where(better, again, grown)
    share = np.clip((grown - 2.0) / np.maximum(grown - 1.0, 1e-12), 0.0, 1.0)
    quick = grown < 2.0
    if int(quick.sum()) > 0.5 * place.size:
        share = _by_rank(grown) if place.size >= TOGETHER else np.where(quick, 0.5, share)
    return np.asarray(place + share, dtype=np.float64)


def _growth(value: Floats, place: np.ndarray, sign: Floats) -> Floats:
    """Departure from the line two readings after a place over that after one; 0 where it goes the other way."""
    even = np.arange(1 - LINE, 1)
    weight = np.linalg.pinv(np.stack([np.ones(LINE), even.astype(np.float64)], axis=1))
    before = value[np.maximum(place[:, None] + even[None, :], 0)]
    level, rate = before @ weight[0], before @ weight[1]
    off, then = (sign * (value[np.minimum(place + i, value.size - 1)] - level - i * rate) for i in (1, 2))
    return np.asarray(np.maximum(then, 0.0) / np.maximum(off, 1e-12), dtype=np.float64)


def _by_rank(grown: Floats) -> Floats:
    """Shares of a reading's step by rank: answers quicker than the readings begin anywhere between two of them."""
    order = np.empty(grown.size)
    order[np.argsort(grown, kind="stable")] = np.arange(grown.size) + 0.5
    return order / grown.size


def _lead_together(trace: Trace, turn: Floats, place: np.ndarray, noise: float, back: int) -> float:
    """How long before its largest turn an answer begins that shows in the mean of many only [s]."""
    around = np.arange(-back - LONG_LINE, LINE + 1)
    place = place[(place + around[0] >= 0) & (place + around[-1] < trace.value.size)]
    if place.size < TOGETHER:
        return 0.0
    sign = np.sign(turn[place])[:, None]
    mean = np.median(sign * (trace.value[place[:, None] + around[None, :]] - trace.value[place][:, None]), axis=0)
    many = Trace(trace.interval_s * around.astype(np.float64), mean, trace.interval_s, np.zeros(0, dtype=np.int64))
    own = _departure(many, LINE)
    largest = np.array([-around[0]])
    first = _first_of_answer(own, largest, BEFORE * 1.25 * noise / float(np.sqrt(place.size)), back)
    if first[0] == largest[0]:
        return 0.0
    begun = _begun(mean, own, np.concatenate([largest, first]))
    return trace.interval_s * float(begun[0] - begun[1])


def clear_turns_s(trace: Trace, known_s: Floats, shortest_s: float) -> Floats:
    """Turns as clear as most of a timer's own, or none where those hardly show [epoch s].

    Parameters
    ----------
    trace : Trace
    known_s : ndarray
        Instants of the timer [epoch s].
    shortest_s : float
    """
    turn = _departure(trace, LINE)
    noise = _scatter(trace, turn, LINE)
    known = np.searchsorted(trace.time_s, known_s)
    around = np.clip(known[:, None] + np.arange(-LEAST_BACK, LEAST_BACK)[None, :], 0, turn.size - 1)
    usual = float(np.quantile(np.abs(turn[around]).max(axis=1), 0.6))
    any_least = STANDS_OUT * noise
    anywhere = _chosen(trace.time_s, turn, _sudden(turn, any_least), any_least, APART * shortest_s)
    if anywhere.size >= TOGETHER:
        # a clock that is wrong passes the turns by
        usual = max(usual, float(np.median(np.abs(turn[anywhere]))))
    if usual < CLEAR * noise:
        return np.zeros(0)
    least = CLEAR_SHARE * usual
    place = _chosen(trace.time_s, turn, _sudden(turn, least), least, APART * shortest_s)
    back = int(np.clip(BACK * shortest_s / trace.interval_s, LEAST_BACK, MOST_BACK))
    first = _alike(turn, place, _first_of_answer(turn, place, BEFORE * noise, back), FAINT * noise)
    return trace.time_s[first] + 0.5 * trace.interval_s


def sudden_turns(trace: Trace, line: int) -> tuple[Floats, Floats]:
    """Instants at which the trace turns, and by how many scatters, whatever is near them.

    Parameters
    ----------
    trace : Trace
    line : int
        Readings of the line before a turn.
    """
    turn = _departure(trace, line)
    noise = _scatter(trace, turn, line)
    place = _sudden(turn, STANDS_OUT * noise)
    return trace.time_s[place] + 0.5 * trace.interval_s, np.abs(turn[place]) / noise


def is_still(trace: Trace, at_s: Floats) -> bool:
    """Whether the trace turns nowhere near most of some instants."""
    turn = _departure(trace, LINE)
    place = np.searchsorted(trace.time_s, at_s)
    around = np.clip(place[:, None] + np.arange(-LEAST_BACK, LEAST_BACK)[None, :], 0, turn.size - 1)
    return float(np.median(np.abs(turn[around]).max(axis=1))) < BEFORE * _scatter(trace, turn, LINE)


def weak_turns_s(trace: Trace, at_s: Floats, shortest_s: float) -> Floats:
    """Weaker turns, seen against a longer line, between switchovers that are far apart [epoch s].

    Parameters
    ----------
    trace : Trace
    at_s : ndarray
        Switchovers known [epoch s].
    shortest_s : float
    """
    line = int(min(LONG_LINE, LONG_SHARE * shortest_s / trace.interval_s))
    if at_s.size < 2 or line <= LINE:
        return np.zeros(0)
    turn = _departure(trace, line)
    least = STANDS_OUT * _scatter(trace, turn, line)
    place = _sudden(turn, least)
    where = trace.time_s[place]
    found: list[float] = []
    for a, b in itertools.pairwise(at_s):
        if b - a < LONG_GAP * shortest_s:
            continue
        low, high = np.searchsorted(where, (a + APART * shortest_s, b - APART * shortest_s))
        chosen = _chosen(trace.time_s, turn, place[low:high], least, APART * shortest_s)
        found += (trace.time_s[chosen] + 0.5 * trace.interval_s).tolist()
    return np.array(found)
