"""What SQLite and the trip latch write to the disk, in order, and when they have it synced.

SQLite's own file functions (its default VFS) are wrapped for writing, truncating, syncing and
deleting, as SQLite's crash tests do (www.sqlite.org/testing.html, "Crash Testing"; the structures
are those of sqlite3.h). What is written still reaches the file.
"""

from __future__ import annotations

import _sqlite3
import ctypes as c
import os
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from types import SimpleNamespace
from typing import Any, NamedTuple

import pytest

from nightcure.ledger import latch_file, writer
from nightcure.ledger.file import sync_folder

_lib = c.CDLL(_sqlite3.__file__)
_lib.sqlite3_vfs_find.restype = c.c_void_p
_lib.sqlite3_vfs_find.argtypes = [c.c_char_p]
_lib.sqlite3_vfs_register.argtypes = [c.c_void_p, c.c_int]
_lib.sqlite3_vfs_unregister.argtypes = [c.c_void_p]

# The name is handed on as the pointer it is: SQLite keeps it for as long as the file is open.
Open = c.CFUNCTYPE(c.c_int, c.c_void_p, c.c_void_p, c.c_void_p, c.c_int, c.c_void_p)
Delete = c.CFUNCTYPE(c.c_int, c.c_void_p, c.c_char_p, c.c_int)
Write = c.CFUNCTYPE(c.c_int, c.c_void_p, c.c_void_p, c.c_int, c.c_int64)
Truncate = c.CFUNCTYPE(c.c_int, c.c_void_p, c.c_int64)
Sync = c.CFUNCTYPE(c.c_int, c.c_void_p, c.c_int)


class Vfs(c.Structure):
    """`sqlite3_vfs`, version 3."""

    _fields_ = (
        ("version", c.c_int), ("file_bytes", c.c_int), ("longest_path", c.c_int),
        ("next", c.c_void_p), ("name", c.c_char_p), ("app_data", c.c_void_p),
        ("open", Open), ("delete", Delete), ("rest", c.c_void_p * 14),
    )  # fmt: skip


class Methods(c.Structure):
    """`sqlite3_io_methods`, version 3."""

    _fields_ = (
        ("version", c.c_int), ("close", c.c_void_p), ("read", c.c_void_p), ("write", Write),
        ("truncate", Truncate), ("sync", Sync), ("rest", c.c_void_p * 13),
    )  # fmt: skip


class Op(NamedTuple):
    """One thing done to a file: `write` (at, data), `truncate` (at), `sync`, `delete`, or `replace`
    (data: the file is this from now on); `sync-folder`, which makes the last two last; or `mark`,
    something the test notes (data)."""

    kind: str
    file: str
    at: int = 0
    data: Any = b""


class WriteLog:
    """Everything written to the files of a folder, in order."""

    def __init__(self, folder: Path) -> None:
        self._folder = str(folder.resolve())
        self._lock = threading.Lock()
        self.ops: list[Op] = []

    def add(self, kind: str, path: str, at: int = 0, data: Any = b"") -> None:
        """Note one operation on a file of the folder."""
        folder, name = os.path.split(path)
        if folder == self._folder:
            with self._lock:
                self.ops.append(Op(kind, name, at, data))

    def mark(self, what: Any) -> None:
        """Note that something is true from here on."""
        with self._lock:
            self.ops.append(Op("mark", "", 0, what))


@contextmanager
def logged(folder: Path) -> Iterator[WriteLog]:
    """Every file that SQLite opens in `folder` from now on, and the latch there, is logged."""
    log = WriteLog(folder)
    original_at = _lib.sqlite3_vfs_find(None)
    original = Vfs.from_address(original_at)
    names: dict[int, str] = {}
    kept: list[Any] = []

    def wrapped(file: int, path: str) -> None:
        """Give an open file other methods: the same, and noted."""
        pointer = c.c_void_p.from_address(file)
        plain = Methods.from_address(pointer.value or 0)
        ours = Methods.from_buffer_copy(plain)
        names[file] = path

        def write(f: int, data: int, count: int, at: int) -> int:
            log.add("write", names[f], at, c.string_at(data, count))
            return int(plain.write(f, data, count, at))

        def truncate(f: int, size: int) -> int:
            log.add("truncate", names[f], size)
            return int(plain.truncate(f, size))

        def sync(f: int, flags: int) -> int:
            done = int(plain.sync(f, flags))
            log.add("sync", names[f])
            return done

        ours.write, ours.truncate, ours.sync = Write(write), Truncate(truncate), Sync(sync)
        kept.append((ours, write, truncate, sync))
        pointer.value = c.addressof(ours)

    def opened(vfs: int, name: int | None, file: int, flags: int, out: int) -> int:
        done = int(original.open(vfs, name, file, flags, out))
        if done == 0 and name is not None:
            wrapped(file, os.fsdecode(c.string_at(name)))
        return done

    def deleted(vfs: int, name: bytes, sync_folder: int) -> int:
        log.add("delete", os.fsdecode(name))
        return int(original.delete(vfs, name, sync_folder))

    def folder_synced(path: Path) -> None:
        sync_folder(path)
        log.add("sync-folder", str(path))

    ours = Vfs.from_buffer_copy(original)
    ours.name, ours.open, ours.delete = b"logged", Open(opened), Delete(deleted)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(latch_file, "os", _logged_os(log))
        for module in (latch_file, writer):
            patch.setattr(module, "sync_folder", folder_synced)
        _lib.sqlite3_vfs_register(c.addressof(ours), 1)
        try:
            yield log
        finally:
            _lib.sqlite3_vfs_register(original_at, 1)
            _lib.sqlite3_vfs_unregister(c.addressof(ours))


def _logged_os(log: WriteLog) -> SimpleNamespace:
    """The module `os` as the latch uses it, noted."""

    def path_of(fd: int) -> str:
        return os.readlink(f"/proc/self/fd/{fd}")

    def pwrite(fd: int, data: bytes, at: int) -> int:
        log.add("write", path_of(fd), at, data)
        return os.pwrite(fd, data, at)

    def write(fd: int, data: bytes) -> int:
        log.add("write", path_of(fd), 0, data)
        return os.write(fd, data)

    def fsync(fd: int) -> None:
        os.fsync(fd)
        log.add("sync", path_of(fd))

    def replace(source: Path, target: Path) -> None:
        log.add("replace", str(target), 0, Path(source).read_bytes())
        os.replace(source, target)

    noted: dict[str, Callable[..., Any]] = {
        "pwrite": pwrite, "write": write, "fsync": fsync, "replace": replace,
    }  # fmt: skip
    return SimpleNamespace(**{**vars(os), **noted})
