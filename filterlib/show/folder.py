"""Several files into a folder as one: all of them or none, whatever stops the work half-way.

The files are written into a folder beside the target first, then moved in one by one, the one named last at the very
end. Each file carries the run's identifier, so that a reader can see whether files belong together. The files that a
run replaces are kept until all have been moved: an error puts them back at once, and after a kill the next run does.
"""

from __future__ import annotations

import hashlib
import json
import os
import re
from collections.abc import Iterator, Mapping
from contextlib import contextmanager, suppress
from pathlib import Path

from filterlib.errors import OutputError

RUN = "filterlib-run-pending"  # stands in the files' text for the identifier until all of it is known
_RUN = re.compile(rb"filterlib-run-[0-9a-f]{16}")
_HEAD = 4096  # bytes of a file in which its identifier has to stand
_NEW, _OLD = "new", "old"  # folders inside the one beside the target
_LOCK = "lock"


def write_files(folder: str | Path, files: Mapping[str, str], *, last: str) -> str:
    """Write files into a folder, which is created where there is none.

    Parameters: ``folder``; ``files``: name -> text, each with `RUN` in its first lines, its name "NAME" or, in a folder below,
    "FOLDER/NAME"; ``last``: name of the file that is moved in last, JSON whose "files" lists all names. Files of an earlier run are replaced or, where this
    run has none of that name, removed; anything else in the folder stays as it is.
    Returns: the run's identifier, the same whenever the files' contents are.
    Raises: OutputError with path and reason; the folder is then as it was.
    """
    run = _identifier(files)
    texts = {name: files[name].replace(RUN, run) for name in sorted(files, key=lambda name: (name == last, name))}
    target = Path(os.path.realpath(folder))
    with _explained(target), _made(target), _beside(target) as work:
        _refuse_foreign(target, texts)
        for name, text in texts.items():
            _write(work / _NEW / name, text)
        for inside in (work / _NEW, *_folders(work / _NEW)):
            _sync(inside)
        _exchange(work, target, list(texts), _of_earlier_run(target, last, texts))
    return run


def run_of(path: Path) -> str | None:
    """The identifier of the run that wrote a file; None for a file that is not ours."""
    if path.is_symlink() or not path.is_file():
        return None
    with path.open("rb") as stream:
        match = _RUN.search(stream.read(_HEAD))
    return match[0].decode() if match else None


def _identifier(files: Mapping[str, str]) -> str:
    digest = hashlib.sha256("\0".join(f"{name}\0{files[name]}" for name in sorted(files)).encode())
    return f"filterlib-run-{digest.hexdigest()[:16]}"


@contextmanager
def _explained(target: Path) -> Iterator[None]:
    """Turn what the operating system refuses into a sentence."""
    try:
        yield
    except OSError as error:
        where = error.filename if isinstance(error.filename, str) else str(target)
        raise OutputError(f"{target}: cannot be written: {error.strerror or error} ({where})") from error


@contextmanager
def _made(target: Path) -> Iterator[None]:
    """The target folder exists inside; folders that had to be created are removed if the work fails."""
    missing = [path for path in (target, *target.parents) if not os.path.lexists(path)]
    if target not in missing and not target.is_dir():
        raise OutputError(f"{target}: is a file, not a folder")
    try:
        for path in reversed(missing):
            path.mkdir()
        yield
    except BaseException:
        for path in missing:
            with suppress(OSError):
                path.rmdir()
        raise


@contextmanager
def _beside(target: Path) -> Iterator[Path]:
    """An empty working folder on the target's file system, for one run at a time; gone afterwards."""
    work = _working_folder(target)
    work.mkdir(exist_ok=True)
    lock = os.open(work / _LOCK, os.O_CREAT | os.O_RDWR)
    try:
        _lock(lock, target)
        _restore(work, target)
        _empty(work)
        for name in (_NEW, _OLD):
            (work / name).mkdir()
        yield work
        _empty(work)
    finally:
        os.close(lock)
        _remove(work)


def _working_folder(target: Path) -> Path:
    """Beside the target; inside it where that is not possible on the same file system."""
    parent = target.parent
    apart = parent == target or target.stat().st_dev != parent.stat().st_dev or not os.access(parent, os.W_OK)
    return target / ".filterlib-writing" if apart else parent / f".{target.name}.filterlib-writing"


def _lock(descriptor: int, target: Path) -> None:
    try:
        import fcntl
    except ImportError:  # a system without file locks
        return
    try:
        fcntl.flock(descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except BlockingIOError:
        raise OutputError(f"{target}: another run is being written there at this moment") from None


def _restore(work: Path, target: Path) -> None:
    """Undo a run that stopped while moving its files: new names go, replaced and removed files come back.

    Whichever command that run belonged to: its last file is the one that lists the others.
    """
    pending = next((path for path in sorted((work / _NEW).glob("*.json")) if _names(path)), None)
    if pending is None:  # it had not come to moving, or had moved everything
        return
    run = run_of(pending)
    for name in _names(pending):
        if not (work / _NEW / name).exists() and not (work / _OLD / name).exists() and run_of(target / name) == run:
            (target / name).unlink()
    for kept in _kept(work):
        back = target / kept.relative_to(work / _OLD)
        back.parent.mkdir(exist_ok=True)
        os.replace(kept, back)
        kept.unlink(missing_ok=True)  # a second name of a file that had not been replaced yet stays after replace()
    _leave_empty(target, _names(pending))


def _names(path: Path) -> list[str]:
    """Names of a run's files, as its last file lists them; none where it cannot be read."""
    try:
        names = json.loads(path.read_text(encoding="utf-8"))["files"]
    except (OSError, ValueError, KeyError, TypeError):
        return []
    return [name for name in names if isinstance(name, str) and _beneath(name)]


def _beneath(name: str) -> bool:
    """True for the name of a file in the folder, or in one folder below it."""
    parts = name.split("/")
    return len(parts) <= 2 and all(part not in ("", ".", "..") and Path(part).name == part for part in parts)


def _folders(folder: Path) -> list[Path]:
    return sorted(path for path in folder.iterdir() if path.is_dir())


def _kept(work: Path) -> list[Path]:
    """The files that were put aside."""
    return sorted(path for path in (work / _OLD).rglob("*") if path.is_symlink() or not path.is_dir())


def _leave_empty(target: Path, names: list[str]) -> None:
    """Take away the folders below the target that have nothing in them any more."""
    for folder in {(target / name).parent for name in names} - {target}:
        with suppress(OSError):
            folder.rmdir()


def _empty(work: Path) -> None:
    for name in (_NEW, _OLD):
        if (work / name).is_dir():
            for path in sorted((work / name).rglob("*"), reverse=True):
                path.rmdir() if path.is_dir() else path.unlink()
            (work / name).rmdir()


def _remove(work: Path) -> None:
    """Take the working folder away, but never a kept file that could not be put back."""
    with suppress(OSError):
        if not (work / _OLD).is_dir() or not _kept(work):
            _empty(work)
            (work / _LOCK).unlink()
            work.rmdir()


def _refuse_foreign(target: Path, names: Mapping[str, str]) -> None:
    for name in names:
        inside = (target / name).parent
        if inside != target and (inside.is_symlink() or (inside.exists() and not inside.is_dir())):
            raise OutputError(f"{inside}: is there already and is no folder; move it away or choose another folder")
        if os.path.lexists(target / name) and run_of(target / name) is None:
            why = "is there already and was not written by filterlib; move it away or choose another folder"
            raise OutputError(f"{target / name}: {why}")


def _of_earlier_run(target: Path, last: str, names: Mapping[str, str]) -> list[str]:
    """Names of the earlier run's files that this run does not replace."""
    earlier = run_of(target / last)
    if earlier is None:
        return []
    return [name for name in _names(target / last) if name not in names and run_of(target / name) == earlier]


def _write(path: Path, text: str) -> None:
    path.parent.mkdir(exist_ok=True)
    with path.open("w", encoding="utf-8", newline="\n") as stream:
        stream.write(text)
        stream.flush()
        os.fsync(stream.fileno())


def _sync(folder: Path) -> None:
    if os.name == "nt":  # folders cannot be opened there
        return
    descriptor = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(descriptor)
    finally:
        os.close(descriptor)


def _exchange(work: Path, target: Path, names: list[str], leftover: list[str]) -> None:
    """Move the new files in, the last one at the very end; on any failure the folder becomes what it was."""
    try:
        for name in [*names, *leftover]:
            if (target / name).exists():
                (work / _OLD / name).parent.mkdir(exist_ok=True)
                os.link(target / name, work / _OLD / name)
        _sync(work / _OLD)
        for name in names[:-1]:
            (target / name).parent.mkdir(exist_ok=True)
            os.replace(work / _NEW / name, target / name)
        for name in leftover:
            (target / name).unlink()
        _leave_empty(target, leftover)
        for inside in {target, *((target / name).parent for name in names)}:
            _sync(inside)
        os.replace(work / _NEW / names[-1], target / names[-1])
        _sync(target)
    except BaseException:
        _restore(work, target)
        raise
