"""Several files into a folder as one: who reads there finds all of one run or all of another, whatever stops the work.

A new folder is made beside the target, with the run's files and, as second names of the same files, everything else that the target
holds. Then both folders change places in one step of the file system, and the old one goes. A lock on the folder
above lets one writer in at a time; what a killed one left beside the target goes with the next.
"""

from __future__ import annotations

import errno
import hashlib
import json
import os
import re
import shutil
import time
from collections.abc import Collection, Iterable, Iterator, Mapping
from contextlib import contextmanager, suppress
from pathlib import Path

from filterlib.disk import well_formed
from filterlib.errors import OutputError

RUN = "filterlib-run-pending"  # in the files' text, in place of the identifier until all of it is known
MOST_OTHERS = 2000
"""Files of others in the target, which get a second name at each run."""
PATIENCE = 30.0  # [s] for another run that writes beside the target at this moment
_RUN = re.compile(rb"filterlib-run-[0-9a-f]{16}")
_EARLIER = re.compile(r"# filterlib-run-[0-9a-f]{16}\n(#.*\n)*\n?")  # what an earlier run said of the file
_HEAD = 4096  # bytes of a file in which its identifier has to stand
_NEW, _READY, _OLD = (
    "new",
    "ready",
    "old",
)  # inside the folder beside the target: being made; complete, or changed with the target; put aside
_AT_CWD, _EXCHANGE = -100, 2  # AT_FDCWD and RENAME_EXCHANGE of Linux, RENAME_SWAP of macOS
_CANNOT = (errno.ENOSYS, errno.EINVAL, errno.ENOTSUP, errno.EOPNOTSUPP)


def headed(text: str, said: Iterable[str]) -> str:
    """The text of a design file as one of a run: with what is ``said`` of it above, in place of what an earlier run said."""
    lines = "\n".join(f"# {line}" for line in (RUN, *said))
    text = _EARLIER.sub("", text, count=1)
    first, schema, rest = text.partition("\n") if text.startswith("#:schema") else ("", "", text)
    return f"{first}{schema}{lines}\n\n{rest}"


def write_files(folder: str | Path, files: Mapping[str, str], *, last: str) -> str:
    """Write files into a folder, which is created where there is none.

    Parameters: ``folder``; ``files``: name -> text, each with `RUN` in its first lines, its name "NAME" or, in a folder below,
    "FOLDER/NAME"; ``last``: name of the JSON whose "files" lists all names. Files of an earlier run are replaced or, where this
    run has none of that name, removed; anything else in the folder stays as it is.
    Returns: the run's identifier, the same whenever the files' contents are.
    Raises: OutputError with path and reason; the folder is then as it was. Refused are the folder that the program runs in, a
    mount point, and a folder with more than `MOST_OTHERS` files of others.
    """
    files = {name: well_formed(text) for name, text in files.items()}
    run = _identifier(files)
    texts = {name: files[name].replace(RUN, run) for name in files}
    target = place_of(folder)
    with _explained(target), _made(target.parent), _alone(target), _beside(target) as work:
        _refuse_foreign(target, texts)
        _carry_over(target, work / _NEW, {*texts, *_of_earlier_run(target, last)})
        for name, text in texts.items():
            _write(work / _NEW / name, text)
        _exchange(work, target)
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


# ---- where it goes ----------------------------------------------------------------------------------------------------


def place_of(folder: str | Path) -> Path:
    """The folder itself, where a link to it was given. Raises OutputError for what cannot change places with another folder."""
    if not str(folder).strip() or "\0" in str(folder):
        raise OutputError("the name of the folder is empty: give one, such as --out review")
    target = Path(os.path.realpath(folder))
    if os.path.islink(folder) and not target.exists():
        raise OutputError(f"{folder}: is a link that leads nowhere")
    if os.path.lexists(target) and not target.is_dir():
        raise OutputError(f"{target}: is a file, not a folder")
    with suppress(OSError):  # the program may run in a folder that is gone
        here = Path.cwd()
        if target in (here, *here.parents):
            raise OutputError(
                f"{target}: is the folder that you are in; results take a folder of their own, such as --out review"
            )
    if target.parent == target or os.path.ismount(target):
        raise OutputError(f"{target}: is a mount point; give a folder in it, such as --out {target / 'review'}")
    return target


@contextmanager
def _explained(target: Path) -> Iterator[None]:
    """Turn what the operating system refuses into a sentence."""
    try:
        yield
    except OSError as error:
        where = error.filename if isinstance(error.filename, str) else str(target)
        raise OutputError(f"{target}: cannot be written: {error.strerror or error} ({where})") from error


@contextmanager
def _made(folder: Path) -> Iterator[None]:
    """The folder exists inside; what had to be created of it goes again if the work fails."""
    missing = [path for path in (folder, *folder.parents) if not os.path.lexists(path)]
    try:
        for path in reversed(missing):
            path.mkdir(exist_ok=True)
        yield
    except BaseException:
        for path in missing:
            with suppress(OSError):
                path.rmdir()
        raise


@contextmanager
def _alone(target: Path) -> Iterator[None]:
    """One writer at a time in the folder above the target; without a lock where the system or the file system has none."""
    try:
        import fcntl
    except ImportError:
        yield
        return
    descriptor = os.open(target.parent, os.O_RDONLY)
    try:
        end = time.monotonic() + PATIENCE
        while True:
            try:
                fcntl.flock(descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)
                break
            except BlockingIOError:
                if time.monotonic() > end:
                    raise OutputError(f"{target}: another run is being written there at this moment") from None
                time.sleep(0.01)
            except OSError:  # as on some network file systems
                break
        yield
    finally:
        os.close(descriptor)


@contextmanager
def _beside(target: Path) -> Iterator[Path]:
    """An empty working folder beside the target; gone afterwards."""
    work = target.parent / f".{target.name}.filterlib"
    _clear(work, target)
    work.mkdir()
    try:
        (work / _NEW).mkdir()
        yield work
    finally:
        with suppress(OSError):  # the next run clears it
            _clear(work, target)


def _clear(work: Path, target: Path) -> None:
    """Remove a working folder, of this run or a killed one; what others put into the old folder meanwhile is put back."""
    if not work.is_dir():
        return
    if (
        work / _OLD
    ).is_dir() and not target.exists():  # killed between two steps, where folders cannot change places in one
        os.rename(work / _OLD, target)
    for name in (_READY, _OLD):
        for path in _files(work / name):
            there = target / path.relative_to(work / name)
            if not _is_newer(there, path) and run_of(path) is None:
                there.parent.mkdir(parents=True, exist_ok=True)
                os.replace(path, there)
    shutil.rmtree(work)


def _is_newer(there: Path, path: Path) -> bool:
    """True where a folder is there, or a file that is the same, or as new as the one at the path."""
    return os.path.lexists(there) and (path.is_dir() or os.lstat(there).st_mtime_ns >= os.lstat(path).st_mtime_ns)


# ---- what is in it ----------------------------------------------------------------------------------------------------


def _files(folder: Path) -> Iterator[Path]:
    """Everything below a folder that is no folder with something in it; links are not followed."""
    if folder.is_dir():
        for entry in sorted(os.scandir(folder), key=lambda entry: entry.name):
            inside = list(_files(Path(entry.path))) if entry.is_dir(follow_symlinks=False) else []
            yield from inside or [Path(entry.path)]


def _of_earlier_run(target: Path, last: str) -> list[str]:
    """Names of the earlier run's files."""
    earlier = run_of(target / last)
    return [] if earlier is None else [name for name in _names(target / last) if run_of(target / name) == earlier]


def _names(path: Path) -> list[str]:
    """Names of a run's files, as its last file lists them; none where that is damaged."""
    text = path.read_text(encoding="utf-8", errors="replace")
    try:
        names = json.loads(text)["files"]
    except (ValueError, KeyError, TypeError, RecursionError):
        return []
    return [name for name in names if isinstance(name, str) and _beneath(name)]


def _beneath(name: str) -> bool:
    """True for the name of a file in the folder, or in one folder below it."""
    parts = name.split("/")
    return len(parts) <= 2 and all(part not in ("", ".", "..") and Path(part).name == part for part in parts)


def _refuse_foreign(target: Path, names: Collection[str]) -> None:
    for name in names:
        inside = (target / name).parent
        if inside != target and (inside.is_symlink() or (inside.exists() and not inside.is_dir())):
            raise OutputError(f"{inside}: is there already and is no folder; move it away or choose another folder")
        if os.path.lexists(target / name) and run_of(target / name) is None:
            why = "is there already and was not written by filterlib; move it away or choose another folder"
            raise OutputError(f"{target / name}: {why}")


def _carry_over(target: Path, new: Path, ours: Collection[str]) -> None:
    """What is not ours gets a second name in the new folder; folders are made there as they are."""
    for number, path in enumerate(one for one in _files(target) if one.relative_to(target).as_posix() not in ours):
        if number >= MOST_OTHERS:
            raise OutputError(
                f"{target}: holds more than {MOST_OTHERS} other files; give the results a folder of their own"
            )
        there = new / path.relative_to(target)
        there.parent.mkdir(parents=True, exist_ok=True)
        if path.is_dir() and not path.is_symlink():
            there.mkdir()
        else:
            _second_name(path, there)
    if target.is_dir():
        for folder in (new, *(path for path in new.rglob("*") if path.is_dir() and not path.is_symlink())):
            _same_rights(target / folder.relative_to(new), folder)


def _second_name(path: Path, there: Path) -> None:
    try:
        os.link(path, there, follow_symlinks=False)
    except (OSError, NotImplementedError) as error:
        if isinstance(error, OSError) and error.errno not in (*_CANNOT, errno.EPERM, errno.EMLINK):
            raise
        shutil.copy2(path, there, follow_symlinks=False)  # a file system without second names


def _same_rights(old: Path, new: Path) -> None:
    shutil.copystat(old, new)
    if hasattr(os, "chown"):
        with suppress(PermissionError):
            os.chown(new, old.stat().st_uid, old.stat().st_gid)


def _write(path: Path, text: str) -> None:
    path.parent.mkdir(exist_ok=True)
    with path.open("w", encoding="utf-8", newline="\n") as stream:
        stream.write(text)
        stream.flush()
        os.fsync(stream.fileno())


# ---- the step ---------------------------------------------------------------------------------------------------------


def _exchange(work: Path, target: Path) -> None:
    """The new folder in the target's place, all at once."""
    for inside in (work / _NEW, *(path for path in (work / _NEW).iterdir() if path.is_dir() and not path.is_symlink())):
        _sync(inside)
    os.rename(work / _NEW, work / _READY)  # from here on it is complete
    if not target.exists():
        os.rename(work / _READY, target)
    elif not swap(work / _READY, target):
        os.rename(
            target, work / _OLD
        )  # for a moment there is no folder; `_clear` puts it back after a kill or an error
        os.rename(work / _READY, target)
    with suppress(OSError):  # it is there already
        _sync(target.parent)


def swap(one: Path, other: Path) -> bool:
    """Let two folders change places in one step. False where this system or file system cannot; raises OSError."""
    if os.name == "nt":
        return False
    import ctypes

    library = ctypes.CDLL(None, use_errno=True)
    here, there = os.fsencode(one), os.fsencode(other)
    if hasattr(library, "renameat2"):
        failed = library.renameat2(_AT_CWD, here, _AT_CWD, there, _EXCHANGE)
    elif hasattr(library, "renamex_np"):
        failed = library.renamex_np(here, there, _EXCHANGE)
    else:
        return False
    if failed and ctypes.get_errno() not in _CANNOT:
        raise OSError(ctypes.get_errno(), os.strerror(ctypes.get_errno()), str(other))
    return not failed


def _sync(folder: Path) -> None:
    if os.name == "nt":  # folders cannot be opened there
        return
    descriptor = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(descriptor)
    finally:
        os.close(descriptor)
