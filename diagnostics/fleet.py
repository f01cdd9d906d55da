"""Many dryers: a folder of logs becomes one ranked table, one row a dryer, failures listed, nothing lost on the way.

Question: which dryer first? Input: dryers with their files. Output: rows ranked by urgency and money, and for dryers
that share a header the dew point of their mixed air. Work goes to local processes or, the same, to a Dask cluster; what
is done is kept, so that a restart goes on from there.
"""

from __future__ import annotations

import importlib.util
import json
import multiprocessing
import os
from collections.abc import Callable, Iterable, Iterator, Mapping
from concurrent.futures import FIRST_COMPLETED, Executor, Future, ProcessPoolExecutor, wait
from concurrent.futures.process import BrokenProcessPool
from contextlib import contextmanager
from itertools import chain
from pathlib import Path
from typing import Any

from diagnostics.errors import InputError
from diagnostics.files import write_whole
from diagnostics.fleet_files import Dryer, Task, failed_row, find_dryers

URGENCY = ("critical", "warning", "info", "none", "failed")
_THREADS = ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS", "ARROW_NUM_THREADS")

Result = tuple[Task, dict[str, Any]]

__all__ = ["Dryer", "Task", "diagnose_task", "failed_row", "find_dryers", "headers", "rank", "run_fleet"]


def diagnose_task(task: Task) -> dict[str, Any]:
    """Diagnose one dryer, in whichever process this runs; see `fleet_work.work`."""
    from diagnostics.fleet_work import work

    return work(task)


def run_fleet(
    dryers: Iterable[Dryer],
    *,
    out: Path | None = None,
    workers: int | None = None,
    scheduler: str | None = None,
    progress: Callable[[str], None] = lambda step: None,
) -> list[dict[str, Any]]:
    """Diagnose many dryers.

    Parameters
    ----------
    dryers : iterable of Dryer
    out : Path, optional
        Folder for one document a dryer and for what a restart resumes from.
    workers : int, optional
        Local processes; as many as there are cores if not given.
    scheduler : str, optional
        Address of a Dask scheduler to use instead.
    progress : callable, optional

    Returns
    -------
    list of dict
        Rows ranked by urgency, then by money.

    Raises
    ------
    InputError
        If the scheduler cannot be reached or a result cannot be written.
    """
    listed = list(dryers)
    rows: list[dict[str, Any]] = []

    def waiting() -> Iterator[Task]:
        # Files are read when a worker is about to take them, so that a large folder needs little memory.
        for dryer in listed:
            try:
                task = dryer.task()
            except InputError as error:
                rows.append(failed_row(dryer.name, dryer.header, str(error)))
                continue
            kept = _resumed(out, task)
            if kept is None:
                yield task
            else:
                rows.append(kept)

    results = _on_cluster(waiting(), scheduler) if scheduler is not None else _on_this_computer(waiting(), workers)
    for task, result in results:
        rows.append(result["row"])
        _keep(out, task, result)
        progress(f"{len(rows)} of {len(listed)} dryers")
    return rank(rows)


def rank(rows: Iterable[dict[str, Any]]) -> list[dict[str, Any]]:
    """Rank rows: most urgent first, then most money saved, then by name."""
    return sorted(
        rows,
        key=lambda row: (URGENCY.index(row["urgency"]), -(row.get("cost_saved_per_year") or 0.0), row["dryer"]),
    )


def refuse_no_cluster() -> None:
    """Say so where the library for clusters is not installed.

    Raises
    ------
    InputError
        With the command that installs it.
    """
    if importlib.util.find_spec("distributed") is None:
        raise InputError(
            "--scheduler needs the package distributed; install it with .venv/bin/pip install -e '.[cluster]'"
            " in the checkout."
        )


def _on_cluster(tasks: Iterator[Task], scheduler: str) -> Iterator[Result]:
    refuse_no_cluster()
    from distributed import Client

    try:
        client = Client(scheduler, timeout="10s")
    except (OSError, ValueError) as error:
        reason = " ".join(str(error).split())[:150]
        raise InputError(
            f"--scheduler {scheduler}: no Dask scheduler answers there ({reason}); check the address and start it."
        ) from None
    with client:
        # A worker that dies takes its log along to the next one; after a few, the log is given up and listed.
        yield from _through(client.get_executor(), tasks, 64, [])


def _on_this_computer(tasks: Iterator[Task], workers: int | None) -> Iterator[Result]:
    count = workers or os.cpu_count() or 1
    while (first := next(tasks, None)) is not None:
        suspects: list[Task] = []
        with _pool(count) as pool:
            yield from _through(pool, chain([first], tasks), 4 * count, suspects)
        yield from _one_by_one(suspects)


def _one_by_one(suspects: list[Task]) -> Iterator[Result]:
    """After a worker died: what was at work then, each in a process of its own, so that only the deadly one is lost."""
    for task in suspects:
        try:
            with _pool(1) as pool:
                yield task, pool.submit(diagnose_task, task).result()
        except BrokenProcessPool:
            yield task, {"row": failed_row(task.name, task.header, _killed(task)), "document": None}


def _killed(task: Task) -> str:
    return f"{task.name}: the worker was killed while diagnosing it, likely for lack of memory; run it alone."


@contextmanager
def _pool(count: int) -> Iterator[ProcessPoolExecutor]:
    """Processes that fork from one server with the engine in memory, each with one thread for linear algebra."""
    method = "forkserver" if "forkserver" in multiprocessing.get_all_start_methods() else "spawn"
    context = multiprocessing.get_context(method)
    before = {name: os.environ.get(name) for name in _THREADS}
    os.environ.update(dict.fromkeys(_THREADS, "1"))
    try:
        if method == "forkserver":
            from multiprocessing import forkserver

            forkserver.set_forkserver_preload(["diagnostics.fleet_work"])
            forkserver.ensure_running()
        pool = ProcessPoolExecutor(count, mp_context=context, initializer=_begin_worker)
    finally:
        for name, value in before.items():
            if value is None:
                del os.environ[name]
            else:
                os.environ[name] = value
    try:
        yield pool
    finally:
        pool.shutdown(cancel_futures=True)


def _begin_worker() -> None:
    from diagnostics.fleet_work import begin_worker

    begin_worker()


def _through(executor: Executor, tasks: Iterator[Task], window: int, suspects: list[Task]) -> Iterator[Result]:
    """Results as they come; where a worker dies, what was at work goes to ``suspects`` and no more is begun."""
    running: dict[Future[dict[str, Any]], Task] = {}

    def fill() -> None:
        while len(running) < window and not suspects:
            task = next(tasks, None)
            if task is None:
                return
            try:
                running[executor.submit(diagnose_task, task)] = task
            except BrokenProcessPool:
                suspects.append(task)

    fill()
    while running:
        ready, _ = wait(running, return_when=FIRST_COMPLETED)
        for future in ready:
            task = running.pop(future)
            try:
                result = future.result()
            except BrokenProcessPool:
                suspects.append(task)
                continue
            except Exception as error:
                # A cluster says in its own words that workers died on a log.
                if type(error).__name__ != "KilledWorker":
                    raise
                result = {"row": failed_row(task.name, task.header, _killed(task)), "document": None}
            yield task, result
        fill()


def _resumed(out: Path | None, task: Task) -> dict[str, Any] | None:
    if out is None:
        return None
    place = out / "rows" / f"{task.file_name}.json"
    try:
        kept = json.loads(place.read_text(encoding="utf-8"))
        row: dict[str, Any] | None = kept["row"] if kept["key"] == task.key else None
    except (OSError, ValueError, KeyError, TypeError):
        return None
    return row


def _keep(out: Path | None, task: Task, result: dict[str, Any]) -> None:
    if out is None:
        return
    for part in ("rows", "documents"):
        (out / part).mkdir(parents=True, exist_ok=True)
    documents, kept = (out / part / f"{task.file_name}.json" for part in ("documents", "rows"))
    if result["document"] is None:
        # What failed is tried again by a restart.
        documents.unlink(missing_ok=True)
        kept.unlink(missing_ok=True)
        return
    write_whole(documents, result["document"])
    row = json.dumps({"key": task.key, "row": result["row"]}, ensure_ascii=False, allow_nan=False)
    write_whole(kept, row)


def headers(rows: Iterable[Mapping[str, Any]]) -> list[dict[str, Any]]:
    """Dew point of the mixed air of dryers that share a header, mixed in moisture and weighted by flow.

    Parameters
    ----------
    rows : iterable of mapping
        As `run_fleet` returns them.

    Returns
    -------
    list of dict
        ``header``, ``dryers``, ``mixed_dew_point_c`` (None where a dryer's flow or dew point is unknown) at the
        members' mean line pressure, and ``members``: each one's flow, dew point and share of the header's water.
    """
    from diagnostics.air.humidity import dew_point_c, moisture_fraction

    groups: dict[str, list[Mapping[str, Any]]] = {}
    for row in rows:
        if row.get("header"):
            groups.setdefault(row["header"], []).append(row)
    mixed = []
    for header, members in sorted(groups.items()):
        keys = ("mean_flow_m3_min", "moisture_mean_dew_point_c", "pressure_bar")
        known = [tuple(row[key] for key in keys) for row in members if all(row.get(key) is not None for key in keys)]
        result: float | None = None
        shares: list[float | None] = [None] * len(members)
        if len(known) == len(members) and sum(flow for flow, _, _ in known) > 0.0:
            water = [flow * float(moisture_fraction(level, pressure)) for flow, level, pressure in known]
            flow, pressure = (sum(values) for values in list(zip(*known, strict=True))[::2])
            result = float(dew_point_c(sum(water) / flow, pressure / len(known)))
            shares = [part / sum(water) for part in water]
        mixed.append(
            {
                "header": header,
                "dryers": [row["dryer"] for row in members],
                "mixed_dew_point_c": result,
                "members": [
                    {
                        "dryer": row["dryer"],
                        "flow_m3_min": row.get("mean_flow_m3_min"),
                        "moisture_mean_dew_point_c": row.get("moisture_mean_dew_point_c"),
                        "share_of_water": share,
                    }
                    for row, share in zip(members, shares, strict=True)
                ],
            }
        )
    return mixed
