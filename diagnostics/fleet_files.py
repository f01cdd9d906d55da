"""Which logs and which plant file are one dryer's: by name, by subfolder or by manifest.

Question: what is to be diagnosed in this folder? Input: a folder. Output: `Dryer`, where its files are, and `Task`, the
same with the files' bytes, which any worker anywhere can do.
"""

from __future__ import annotations

import hashlib
import re
import tomllib
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from diagnostics.errors import InputError
from diagnostics.version import VERSION

LOG_SUFFIXES = (".csv", ".txt", ".tsv", ".dat", ".xlsx", ".xls", ".ods", ".parquet", ".gz", ".zip")
MANIFEST = "fleet.toml"
RESULTS = ("fleet.csv", "fleet.json", "fleet.html")
"""What a fleet run writes; a folder that holds them is no dryer's, and they are no logs."""


@dataclass(frozen=True, slots=True)
class Task:
    """One dryer: its logs and its plant file as bytes."""

    name: str
    logs: tuple[tuple[str, bytes], ...]
    plant_name: str
    plant_text: bytes
    header: str = ""

    @property
    def key(self) -> str:
        """Digest of everything that the result depends on."""
        digest = hashlib.sha256(f"{VERSION}\0{self.name}\0{self.header}\0".encode())
        for name, content in (*self.logs, (self.plant_name, self.plant_text)):
            digest.update(name.encode() + b"\0" + hashlib.sha256(content).digest())
        return digest.hexdigest()

    @property
    def file_name(self) -> str:
        """The dryer's name as a file's, without ending; two names never share one."""
        plain = re.sub(r"[^\w. +-]", "_", self.name).strip(". ")[:80]
        same = plain == self.name
        return plain if same else f"{plain}-{hashlib.sha256(self.name.encode()).hexdigest()[:8]}"


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


def failed_row(name: str, header: str, sentence: str) -> dict[str, Any]:
    """Row of a dryer that could not be diagnosed."""
    return {"dryer": name, "header": header, "urgency": "failed", "first": sentence, "do": "", "error": sentence}


def find_dryers(folder: str | Path) -> list[Dryer]:
    """Find the dryers in a folder.

    A manifest ``fleet.toml`` (``[[dryers]]`` with name, logs, plant, header) decides. Without one, a subfolder with
    logs is one dryer; a log goes with the plant file whose name its own begins with, else ``plant.toml``.

    Parameters
    ----------
    folder : str or Path

    Returns
    -------
    list of Dryer
        Sorted by name; no two share a name.

    Raises
    ------
    InputError
        If the folder is missing or holds no log, or the manifest is wrong.
    """
    root = Path(folder)
    if not root.exists():
        raise InputError(f"{root}: there is no such folder; check the path.")
    if not root.is_dir():
        raise InputError(f"{root} is a file; name the folder that holds it, or use dewswing diagnose for one log.")
    manifest = root / MANIFEST
    try:
        dryers = _from_manifest(manifest) if manifest.is_file() else _told_apart(_from_names(root))
    except OSError as error:
        raise InputError(f"{error.filename} cannot be read ({error.strerror}); check its permissions.") from None
    if not dryers:
        raise InputError(f"{root} holds no logs ({', '.join(LOG_SUFFIXES)}); put logs and plant files there.")
    return sorted(dryers, key=lambda dryer: dryer.name)


def _from_manifest(manifest: Path) -> list[Dryer]:
    known = {"name", "logs", "plant", "header"}
    try:
        tables = tomllib.loads(manifest.read_text(encoding="utf-8-sig"))
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as error:
        raise InputError(f"{manifest}: not valid TOML, {error}.") from None
    entries = tables.get("dryers", [])
    dryers = []
    for number, entry in enumerate(entries if isinstance(entries, list) else [entries], 1):
        good = isinstance(entry, dict) and isinstance(entry.get("name"), str) and isinstance(entry.get("logs"), list)
        if not good or not entry["logs"] or not all(isinstance(log, str) for log in entry["logs"]):
            raise InputError(f"{manifest}: [[dryers]] number {number} needs a name and logs, a list of files.")
        unknown = sorted(set(entry) - known)
        if unknown:
            raise InputError(
                f"{manifest}: unknown key {unknown[0]!r} at {entry['name']}; known: name, logs, plant, header."
            )
        logs = tuple(path for pattern in entry["logs"] for path in _matching(manifest.parent, pattern))
        plant = manifest.parent / str(entry["plant"]) if "plant" in entry else None
        dryers.append(Dryer(entry["name"], logs, plant, str(entry.get("header", ""))))
    names = [dryer.name for dryer in dryers]
    twice = sorted({name for name in names if names.count(name) > 1})
    if twice:
        raise InputError(f"{manifest}: two [[dryers]] are called {twice[0]!r}; give each its own name.")
    return dryers


def _matching(folder: Path, pattern: str) -> list[Path]:
    found = sorted(folder.glob(pattern)) if any(sign in pattern for sign in "*?[") else []
    return found or [folder / pattern]


def _from_names(root: Path) -> list[Dryer]:
    plants = {path.stem: path for path in sorted(root.glob("*.toml")) if path.name != MANIFEST}
    dryers = []
    for sub in sorted(path for path in root.iterdir() if path.is_dir() and not path.name.startswith(".")):
        logs = () if any((sub / name).exists() for name in RESULTS) else _logs_in(sub)
        if logs:
            own = sorted(sub.glob("*.toml"))
            plant = sub / "plant.toml" if (sub / "plant.toml") in own else own[0] if len(own) == 1 else None
            dryers.append(Dryer(sub.name, logs, plant or plants.get(sub.name) or plants.get("plant")))
    grouped: dict[tuple[str, Path | None], list[Path]] = {}
    for log in _logs_in(root):
        stem = log.name.split(".")[0]
        owners = [name for name in plants if stem == name or stem.startswith((f"{name}_", f"{name}-", f"{name} "))]
        owner = max(owners, key=len, default=None)
        name, plant = (owner, plants[owner]) if owner else (stem, plants.get("plant"))
        grouped.setdefault((name, plant), []).append(log)
    return dryers + [Dryer(name, tuple(logs), plant) for (name, plant), logs in grouped.items()]


def _told_apart(dryers: list[Dryer]) -> list[Dryer]:
    """A subfolder and a log of one name are two dryers; the later ones get a number."""
    seen: dict[str, int] = {}
    apart = []
    for dryer in dryers:
        seen[dryer.name] = seen.get(dryer.name, 0) + 1
        again = seen[dryer.name] > 1
        apart.append(replace(dryer, name=f"{dryer.name} ({seen[dryer.name]})") if again else dryer)
    return apart


def _logs_in(folder: Path) -> tuple[Path, ...]:
    found = (p for p in folder.iterdir() if p.is_file() and p.suffix.lower() in LOG_SUFFIXES)
    return tuple(sorted(p for p in found if p.name not in RESULTS and not p.name.startswith(".")))
