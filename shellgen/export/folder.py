"""Swap a whole folder into place: the old result or the new one, never half of either.

The new folder is filled beside the target and exchanged with it in one step of the file system. Where the system has
no such step (neither Linux nor macOS, or an unusual file system) the old folder is renamed aside for a moment; a run
that was killed in that moment is put right by the next one.
"""

from __future__ import annotations

import ctypes
import json
import os
import shutil
import sys
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from shellgen.errors import ShellgenError

try:
    import fcntl
except ImportError:  # not a POSIX system: other runs' leftovers cannot be told from work in progress
    fcntl = None  # type: ignore[assignment]

MANIFEST = "manifest.json"
AT_WORKING_FOLDER = -100  # AT_FDCWD, fcntl.h
EXCHANGE = 2  # RENAME_EXCHANGE of renameat2 (Linux) and RENAME_SWAP of renamex_np (macOS)


@contextmanager
def swap_in(target: Path) -> Iterator[Path]:
    """Give an empty temporary folder beside `target`; when the block ends well, it becomes `target` as a whole.

    If the block raises, or the process is killed, `target` stays as it was; leftovers go at the next run. An older
    build at `target` is replaced, and removed. Raises ShellgenError if `target` holds anything but a build.
    """
    target = Path(os.path.abspath(os.path.realpath(target)))
    parent, name = target.parent, target.name
    try:
        parent.mkdir(parents=True, exist_ok=True)
        _restore(target)
        refuse_foreign(target)
        _clean(parent, name)
        fresh, lock = _locked_folder(parent, name)
    except OSError as error:
        raise _unwritable(target, error) from error
    try:
        yield fresh
        refuse_foreign(target)
        try:
            fresh.chmod(0o755)
            if target.exists():
                _replace(fresh, target)
            else:
                fresh.rename(target)
        except OSError as error:
            raise _unwritable(target, error) from error
    finally:
        shutil.rmtree(fresh, ignore_errors=True)  # after an exchange, this is the old result
        if lock is not None:
            os.close(lock)


def refuse_foreign(target: Path) -> None:
    """Raise ShellgenError if a path is a file, or a folder that holds something other than a build."""
    if not target.exists():
        return
    if not target.is_dir():
        raise ShellgenError(f"{target} is a file. Choose a folder for the results with --out.")
    if any(target.iterdir()) and not is_build(target):
        raise ShellgenError(
            f"{target} holds files that are no build ({MANIFEST} of a build is missing), and would be replaced. "
            "Choose another folder with --out, or empty this one."
        )


def is_build(folder: Path) -> bool:
    """Whether a folder holds a build: a manifest with parts in it."""
    try:
        found = json.loads((folder / MANIFEST).read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return False
    return isinstance(found, dict) and "parts" in found


def _unwritable(target: Path, error: OSError) -> ShellgenError:
    """What the user is told when the file system says no."""
    return ShellgenError(f"{target} cannot be written: {error.strerror or error}. Choose another folder with --out.")


def _aside(target: Path) -> Path:
    """Where the old result waits where folders cannot be exchanged."""
    return target.with_name(f".{target.name}.before")


def _restore(target: Path) -> None:
    """Bring back a result that was renamed aside by a run that died before it put the new one in its place."""
    if _aside(target).exists() and not target.exists():
        _aside(target).rename(target)


def _clean(parent: Path, name: str) -> None:
    """Remove what killed runs left behind; a folder that another run still fills is locked, and stays."""
    shutil.rmtree(parent / f".{name}.before", ignore_errors=True)
    if fcntl is None:
        return
    for left in sorted(parent.glob(f".{_literal(name)}.new-*")):
        try:
            handle = os.open(left, os.O_RDONLY)
        except OSError:
            continue
        try:
            fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
            shutil.rmtree(left, ignore_errors=True)
        except OSError:
            pass
        finally:
            os.close(handle)


def _literal(name: str) -> str:
    """A name with glob's special characters made plain."""
    return "".join(f"[{c}]" if c in "*?[" else c for c in name)


def _locked_folder(parent: Path, name: str) -> tuple[Path, int | None]:
    """A new folder that other runs leave alone as long as this process lives."""
    while True:
        fresh = Path(tempfile.mkdtemp(prefix=f".{name}.new-", dir=parent))
        if fcntl is None:
            return fresh, None
        try:
            handle = os.open(fresh, os.O_RDONLY)
        except FileNotFoundError:  # cleaned away by another run before it could be locked
            continue
        fcntl.flock(handle, fcntl.LOCK_EX)
        if fresh.exists():
            return fresh, handle
        os.close(handle)


def _replace(fresh: Path, target: Path) -> None:
    """Put `fresh` in the place of `target`; what was there ends up at `fresh`, or is gone."""
    if _exchange(fresh, target):
        return
    aside = _aside(target)
    target.rename(aside)
    try:
        fresh.rename(target)
    except OSError:
        aside.rename(target)
        raise
    shutil.rmtree(aside, ignore_errors=True)


def _exchange(one: Path, other: Path) -> bool:
    """Exchange two folders in one step; False where the system cannot."""
    first, second = os.fsencode(one), os.fsencode(other)
    try:
        system = ctypes.CDLL(None, use_errno=True)
        if sys.platform == "darwin":
            return int(system.renamex_np(first, second, EXCHANGE)) == 0
        return int(system.renameat2(AT_WORKING_FOLDER, first, AT_WORKING_FOLDER, second, EXCHANGE)) == 0
    except (OSError, AttributeError, TypeError):
        return False
