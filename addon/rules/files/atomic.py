"""Files written whole or not at all."""

import os
import secrets
import stat
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import BinaryIO

from ..base.errors import BadInput


@contextmanager
def writing(path: Path) -> Iterator[BinaryIO]:
    """Open a file to be written whole: ``with writing(path) as file: file.write(...)``.

    The bytes go to a file beside it, which takes its name only when all of them are on the disk; when anything fails,
    an older file stays as it was and nothing else is left. A link is followed. Raises BadInput for a folder that is
    missing or closed to writing, a folder or read-only file of that name, and a disk that fills up.
    """
    try:
        target = path.resolve()
        mode = _mode_of(path, target)
        beside = target.with_name(f".{target.name[:80]}.{secrets.token_hex(6)}.part")
        handle = os.open(beside, os.O_WRONLY | os.O_CREAT | os.O_EXCL | getattr(os, "O_BINARY", 0), mode)
    except (OSError, RuntimeError, ValueError) as error:
        raise _cannot(path, error) from None
    try:
        with os.fdopen(handle, "wb") as file:
            yield file
            try:
                file.flush()
                os.fsync(file.fileno())
            except OSError as error:
                raise _cannot(path, error) from None
        try:
            beside.replace(target)
        except OSError as error:
            raise _cannot(path, error) from None
    except OSError as error:
        raise _cannot(path, error) from None
    finally:
        with suppress(OSError):
            beside.unlink()


def write_whole(path: Path, data: bytes) -> None:
    """Write a file whole or not at all, as `writing` does."""
    with writing(path) as file:
        file.write(data)


def _mode_of(path: Path, target: Path) -> int:
    """Give the permissions for the new file: those of the one it replaces. Raises BadInput if that must stay."""
    if not target.parent.is_dir():
        raise BadInput(f"{path}: there is no folder {target.parent}; make it first, or name another")
    if not target.exists():
        return 0o666
    mode = target.stat().st_mode
    if stat.S_ISDIR(mode):
        raise BadInput(f"{path}: is a folder; name a file in it")
    if not stat.S_ISREG(mode):
        raise BadInput(f"{path}: is not an ordinary file; name another")
    if not mode & 0o222 or not os.access(target, os.W_OK):
        raise BadInput(f"{path}: is read-only; name another file, or allow writing to this one")
    return stat.S_IMODE(mode)


def _cannot(path: Path, error: Exception) -> BadInput:
    reason = getattr(error, "strerror", None) or str(error)
    return BadInput(
        f"{path}: cannot be written ({reason}); check the folder, its permissions and the space on the disk"
    )
