"""Many dryers: a folder of logs becomes one ranked table, one row a dryer, failures listed, nothing lost on the way.

Input: a folder with logs beside plant files (by name, subfolder or manifest ``fleet.toml``). Output: rows ranked
by urgency and money, and for dryers that share a header the dew point of their mixed air.
"""

from __future__ import annotations

import hashlib
import json
import os
import tomllib
from collections.abc import Callable, Iterable, Iterator, Mapping
from concurrent.futures import FIRST_COMPLETED, Executor, Future, ProcessPoolExecutor, wait
from concurrent.futures.process import BrokenProcessPool
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from diagnostics.errors import InputError, UserError
from diagnostics.files import write_whole
from diagnostics.version import VERSION

LOG_SUFFIXES = (".csv", ".txt", ".tsv", ".dat", ".xlsx", ".xls", ".ods", ".parquet", ".gz", ".zip")
URGENCY = ("critical", "warning", "info", "none", "failed")
MANIFEST = "fleet.toml"


@dataclass(frozen=True, slots=True)
class Task:
    """One dryer: its logs and its plant file as bytes, so that any worker anywhere can do it."""

    name: str
    logs: tuple[tuple[str, bytes], ...]
    plant_name: str
    plant_text: bytes
    header: str = ""

    @property
    def key(self) -> str:
        """Digest of everything that the result depends on."""
        digest = hashlib.sha256(VERSION.encode())
        for name, content in (*self.logs, (self.plant_name, self.plant_text)):
            digest.update(name.encode() + b"\0" + hashlib.sha256(content).digest())
        return digest.hexdigest()


@dataclass(frozen=True, slots=True)
class Dryer:
    """Where one dryer's files are."""

    name: str
    logs: tuple[Path, ...]
    plant: Path | None
    header: str = ""

    def task(self) -> Task:
        """Read the files.

        Raises
        ------
        InputError
            If one of them cannot be read.
        """
        try:
            logs = tuple((path.name, path.read_bytes()) for path in self.logs)
            plant = self.plant.read_bytes() if self.plant else b""
        except OSError as error:
            raise InputError(f"{error.filename} cannot be read ({error.strerror}); check the path.") from None
        return Task(self.name, logs, self.plant.name if self.plant else "no plant file", plant, self.header)


def find_dryers(folder: str | Path) -> list[Dryer]:
    """Find the dryers in a folder.

    A manifest ``fleet.toml`` (``[[dryers]]`` with name, logs, plant, header) decides. Without one, a subfolder with a
    ``plant.toml`` is one dryer; a log goes with the plant file whose name its own begins with, else ``plant.toml``.

    Parameters
    ----------
    folder : str or Path

    Returns
    -------
    list of Dryer
        Sorted by name.

    Raises
    ------
    InputError
        If the folder is missing or holds no log, or the manifest is wrong.
    """
    root = Path(folder)
    if not root.is_dir():
        raise InputError(f"{root}: there is no such folder; check the path.")
    manifest = root / MANIFEST
    dryers = _from_manifest(manifest) if manifest.is_file() else _from_names(root)
    if not dryers:
        raise InputError(f"{root} holds no logs ({', '.join(LOG_SUFFIXES)}); put logs and plant files there.")
    return sorted(dryers, key=lambda dryer: dryer.name)


def _from_manifest(manifest: Path) -> list[Dryer]:
    try:
        entries = tomllib.loads(manifest.read_text(encoding="utf-8-sig")).get("dryers", [])
        return [
            Dryer(
                str(entry["name"]),
                tuple(manifest.parent / log for log in entry["logs"]),
                manifest.parent / entry["plant"] if "plant" in entry else None,
                str(entry.get("header", "")),
            )
            for entry in entries
        ]
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as error:
        raise InputError(f"{manifest}: not valid TOML, {error}.") from None
    except (KeyError, TypeError, AttributeError) as error:
        raise InputError(f"{manifest}: every [[dryers]] needs name and logs, a list of files ({error}).") from None


def _from_names(root: Path) -> list[Dryer]:
    dryers = []
    for sub in sorted(path for path in root.iterdir() if path.is_dir() and (path / "plant.toml").is_file()):
        logs = _logs_in(sub)
        if logs:
            dryers.append(Dryer(sub.name, logs, sub / "plant.toml"))
    plants = {path.stem: path for path in sorted(root.glob("*.toml")) if path.name != MANIFEST}
    grouped: dict[tuple[str, Path | None], list[Path]] = {}
    for log in _logs_in(root):
        stem = log.name.split(".")[0]
        owners = [name for name in plants if stem == name or stem.startswith((f"{name}_", f"{name}-", f"{name} "))]
        owner = max(owners, key=len, default=None)
        name, plant = (owner, plants[owner]) if owner else (stem, plants.get("plant"))
        grouped.setdefault((name, plant), []).append(log)
    return dryers + [Dryer(name, tuple(logs), plant) for (name, plant), logs in grouped.items()]


def _logs_in(folder: Path) -> tuple[Path, ...]:
    return tuple(sorted(p for p in folder.iterdir() if p.is_file() and p.suffix.lower() in LOG_SUFFIXES))


def diagnose_task(task: Task) -> dict[str, Any]:
    """Diagnose one dryer; a log that cannot be used becomes a row that says why.

    Returns
    -------
    dict
        ``row`` for the ranked table and ``document``, None where the dryer failed.
    """
    from diagnostics.diagnosis import diagnose
    from diagnostics.log.reading import read_log
    from diagnostics.log.record import Upload
    from diagnostics.plant import plant_from
    from diagnostics.report.document import document

    try:
        tables = tomllib.loads(task.plant_text.decode("utf-8-sig").replace("\r\n", "\n"))
        plant = plant_from(tables, source=task.plant_name)
        log = read_log([Upload(name, content) for name, content in task.logs], plant)
        diagnosis = diagnose(log, plant)
        whole = document(diagnosis)
    except (UserError, tomllib.TOMLDecodeError, UnicodeDecodeError) as error:
        return {"row": failed_row(task.name, task.header, str(error)), "document": None}
    except Exception as error:
        # One dryer that meets an error of ours must not cost the others their result.
        if os.environ.get("DEWSWING_DEBUG"):
            raise
        place = f"{type(error).__name__}: {' '.join(str(error).split())[:200]}"
        sentence = f"an error in dewswing itself ({place}); diagnose {task.name} alone with DEWSWING_DEBUG=1."
        return {"row": failed_row(task.name, task.header, sentence), "document": None}
    flow, used = diagnosis.screened.conditions.flow_m3_min, diagnosis.screened.used
    mean_flow = None if flow is None or not used.any() else float(flow[used].mean())
    return {"row": summary_row(task.name, task.header, whole, mean_flow), "document": whole}


def summary_row(name: str, header: str, whole: Mapping[str, Any], mean_flow_m3_min: float | None) -> dict[str, Any]:
    """One dryer's row of the ranked table, from its document."""
    first = next(iter(whole["findings"]), None)
    saved = whole["switching"]["cost_saved_per_year"]
    cost = whole["purge"]["cost_per_year"]
    payback = whole["payback"]["simple_payback_years"]
    half_cycle = whole["cycle"]["half_cycle_s"]
    return {
        "dryer": name,
        "header": header,
        "urgency": first["severity"] if first else "none",
        "first": first["statement"] if first else "Nothing stands out.",
        "do": first["action"] if first else "",
        "conformity": whole["purity"]["conformity"],
        "class": whole["purity"]["class"],
        "p95_dew_point_c": whole["purity"]["p95_dew_point_c"],
        "moisture_mean_dew_point_c": whole["log"]["used_statistics"]
        .get("dew_point_c", {})
        .get("moisture_mean_dew_point_c"),
        "mean_flow_m3_min": mean_flow_m3_min,
        "control": whole["cycle"]["control"],
        "half_cycle_s": half_cycle and half_cycle["value"],
        "trend": whole["trend"]["verdict"],
        "purge_cost_per_year": cost and cost["value"],
        "cost_saved_per_year": saved and saved["value"],
        "cost_saved_low": saved and saved["low"],
        "cost_saved_high": saved and saved["high"],
        "currency": whole["payback"]["currency"],
        "simple_payback_years": payback and payback["value"],
        "error": "",
    }


def failed_row(name: str, header: str, sentence: str) -> dict[str, Any]:
    """Row of a dryer that could not be diagnosed."""
    return {"dryer": name, "header": header, "urgency": "failed", "first": sentence, "do": "", "error": sentence}


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
    """
    rows: list[dict[str, Any]] = []
    waiting: list[Task] = []
    count = 0
    for dryer in dryers:
        count += 1
        try:
            task = dryer.task()
        except InputError as error:
            rows.append(failed_row(dryer.name, dryer.header, str(error)))
            continue
        kept = _resumed(out, task)
        if kept is not None:
            rows.append(kept)
        else:
            waiting.append(task)
    for task, result in _results(waiting, workers, scheduler):
        rows.append(result["row"])
        _keep(out, task, result)
        progress(f"{len(rows)} of {count} dryers")
    return rank(rows)


def rank(rows: Iterable[dict[str, Any]]) -> list[dict[str, Any]]:
    """Rank rows: most urgent first, then most money saved, then by name."""
    return sorted(
        rows,
        key=lambda row: (URGENCY.index(row["urgency"]), -(row.get("cost_saved_per_year") or 0.0), row["dryer"]),
    )


def _results(tasks: list[Task], workers: int | None, scheduler: str | None) -> Iterator[tuple[Task, dict[str, Any]]]:
    if scheduler is not None:
        from distributed import Client

        with Client(scheduler, timeout="10s") as client:
            yield from _through(client.get_executor(), tasks, window=64)
        return
    done: set[str] = set()
    try:
        with ProcessPoolExecutor(workers) as pool:
            for task, result in _through(pool, tasks, window=16):
                done.add(task.name)
                yield task, result
    except BrokenProcessPool:
        yield from _one_by_one([task for task in tasks if task.name not in done])


def _one_by_one(tasks: list[Task]) -> Iterator[tuple[Task, dict[str, Any]]]:
    """After a worker died: each of the rest in a process of its own, so that only the deadly one is lost."""
    for task in tasks:
        try:
            with ProcessPoolExecutor(1) as pool:
                yield task, pool.submit(diagnose_task, task).result()
        except BrokenProcessPool:
            sentence = (
                f"{task.name}: the worker was killed while diagnosing it, likely for lack of memory; run it alone."
            )
            yield task, {"row": failed_row(task.name, task.header, sentence), "document": None}


def _through(executor: Executor, tasks: list[Task], window: int) -> Iterator[tuple[Task, dict[str, Any]]]:
    left = iter(tasks)
    running: dict[Future[dict[str, Any]], Task] = {}

    def fill() -> None:
        while len(running) < window:
            task = next(left, None)
            if task is None:
                return
            running[executor.submit(diagnose_task, task)] = task

    fill()
    while running:
        ready, _ = wait(running, return_when=FIRST_COMPLETED)
        for future in ready:
            yield running.pop(future), future.result()
        fill()


def _resumed(out: Path | None, task: Task) -> dict[str, Any] | None:
    if out is None:
        return None
    place = out / "rows" / f"{task.name}.json"
    try:
        kept = json.loads(place.read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return None
    return kept["row"] if kept.get("key") == task.key else None


def _keep(out: Path | None, task: Task, result: dict[str, Any]) -> None:
    if out is None:
        return
    for part in ("rows", "documents"):
        (out / part).mkdir(parents=True, exist_ok=True)
    if result["document"] is not None:
        text = json.dumps(result["document"], ensure_ascii=False, allow_nan=False, indent=2)
        write_whole(out / "documents" / f"{task.name}.json", text + "\n")
    row = json.dumps({"key": task.key, "row": result["row"]}, ensure_ascii=False, allow_nan=False)
    write_whole(out / "rows" / f"{task.name}.json", row)


def headers(rows: Iterable[Mapping[str, Any]]) -> list[dict[str, Any]]:
    """Dew point of the mixed air of dryers that share a header, mixed in moisture and weighted by flow.

    Parameters
    ----------
    rows : iterable of mapping
        As `run_fleet` returns them.

    Returns
    -------
    list of dict
        ``header``, ``dryers``, ``mixed_dew_point_c`` (None where a dryer's flow or dew point is unknown).
    """
    from diagnostics.air.humidity import dew_point_c, moisture_fraction

    groups: dict[str, list[Mapping[str, Any]]] = {}
    for row in rows:
        if row.get("header"):
            groups.setdefault(row["header"], []).append(row)
    mixed = []
    for header, members in sorted(groups.items()):
        flows = [row.get("mean_flow_m3_min") for row in members]
        levels = [row.get("moisture_mean_dew_point_c") for row in members]
        result = None
        known = [(f, t) for f, t in zip(flows, levels, strict=True) if f and t is not None]
        if len(known) == len(members):
            pressure_bar = 8.01325  # the same for all, so that it cancels but for the enhancement factor
            water = sum(flow * float(moisture_fraction(level, pressure_bar)) for flow, level in known)
            result = float(dew_point_c(water / sum(flow for flow, _ in known), pressure_bar))
        mixed.append({"header": header, "dryers": [row["dryer"] for row in members], "mixed_dew_point_c": result})
    return mixed
