"""The one place where files are written: each is whole under its name, or not there at all.

The content goes into a temporary file beside the target, reaches the disk and only then takes the
target's name. A process killed at any moment leaves the old file or the new one; besides, it may
leave a temporary file (hidden, and ending in ``.tmp``) that nothing reads and that the next write
to the same name removes.
"""

from __future__ import annotations

import errno
import glob
import os
import re
import secrets
import stat
from collections.abc import Iterable
from contextlib import suppress
from pathlib import Path

from edgekit import checks
from edgekit.errors import BadArgument, BadFile

_LONGEST = 50  # letters of a name that its temporary file repeats: 255 bytes are the usual limit
_REMEDIES = {
    errno.ENOENT: "Make the folder first.",
    errno.ENOTDIR: "Make the folder first.",
    errno.ENOSPC: "Free some space and write it again; a file there before is as it was.",
    errno.EFBIG: "Free some space and write it again; a file there before is as it was.",
    errno.EISDIR: "Give the path of a file, not of a folder.",
    errno.ENAMETOOLONG: "Choose a shorter name.",
    errno.EINVAL: "Choose another name.",
}
_NO_LINKS = {errno.EPERM, errno.ENOTSUP, errno.EOPNOTSUPP, errno.ENOSYS, errno.EMLINK}
_LEFTOVER = re.compile(r"\..+\.[0-9a-f]{8}\.(\d+)\.tmp", re.DOTALL)
MAX_BYTES = 100_000_000  # of a file in text; 40,000 lines of a log have 4 million
_open: set[Path] = set()  # temporary files of this process


def file_path(path: object, name: str = "path") -> Path:
    """The path of a file; what cannot be one is refused.

    Raises
    ------
    EdgekitError
        Not a path, one without a name, or one with letters that no file system takes.

    Examples
    --------
    >>> file_path("tray.csv").name
    'tray.csv'
    """
    remedy = "Give the path of a file as text or as pathlib.Path."
    if not isinstance(path, str | os.PathLike):
        raise BadArgument(f"{name} must be a path", path, remedy, argument="path")
    given = os.fspath(path)
    if not isinstance(given, str) or "\0" in given:
        raise BadArgument(
            f"{name} must be a path in text without null characters", path, remedy, argument="path"
        )
    try:
        os.fsencode(given)
    except UnicodeEncodeError as error:
        raise BadArgument(
            f"{name} holds a letter that no file name takes", path, remedy, argument="path"
        ) from error
    if Path(given).name in ("", ".."):
        raise BadArgument(f"{name} names no file", given, remedy, argument=name)
    return Path(given)


def read_file(path: Path, most: int = MAX_BYTES) -> bytes:
    """What a regular file holds. A pipe would be waited for without end, a device has none.

    Raises
    ------
    OSError
        The file cannot be read, is none, or has more bytes than `most`.

    Examples
    --------
    >>> import pathlib, tempfile
    >>> path = pathlib.Path(tempfile.mkdtemp()) / "note.txt"
    >>> _ = path.write_bytes(b"sharp")
    >>> read_file(path)
    b'sharp'
    """
    with open(path, "rb", opener=_open_at_once) as file:
        about = os.fstat(file.fileno())
        if not stat.S_ISREG(about.st_mode):
            raise OSError(errno.EINVAL, "it is a pipe or a device, not a file")
        if about.st_size > most:
            raise OSError(errno.EFBIG, f"it has more than {most // 1_000_000:,} MB")
        return file.read(most)


def _open_at_once(path: str, flags: int) -> int:
    """Open without waiting for somebody at the other end of a pipe."""
    return os.open(path, flags | getattr(os, "O_NONBLOCK", 0))


def beside(file: Path, name: str) -> Path:
    """The file that another file names: in its folder or below, or refused.

    Raises
    ------
    EdgekitError
        A name that leads out of the folder, itself or by a link.

    Examples
    --------
    >>> beside(Path("FH-03.toml"), "FH-03.csv").name
    'FH-03.csv'
    """
    other = file.parent / file_path(name, "the name of a file")
    if not Path(os.path.realpath(other)).is_relative_to(os.path.realpath(file.parent)):
        raise BadArgument(
            f"{file.name} names a file outside its folder",
            name,
            "Copy that file into the folder and give its name there.",
            argument="name",
        )
    return other


def there(path: Path) -> bool:
    """Whether something stands under a path; not where it cannot even be asked for."""
    try:
        return path.exists()
    except OSError:
        return False


def write_file(path: str | os.PathLike[str], data: str | bytes, *, replace: bool = False) -> Path:
    """Write a file whole or not at all, whenever the process is killed.

    Parameters
    ----------
    path : path
    data : str or bytes
        Text is written in UTF-8, its line ends as they are.
    replace : bool
        Without it a file that exists is refused, also when two processes write at once: one of
        them is the first. (On a file system without links, a kill between two system calls can
        leave an empty new file; a file that existed is safe there too.)

    Returns
    -------
    Path
        The file written.

    Raises
    ------
    EdgekitError
        The file exists, or cannot be written: a missing folder, a full disk, a folder of that
        name. What stood under the name before is as it was.

    Examples
    --------
    >>> import tempfile, pathlib
    >>> folder = pathlib.Path(tempfile.mkdtemp())
    >>> write_file(folder / "note.txt", "sharp").read_text()
    'sharp'
    >>> [item.name for item in folder.iterdir()]
    ['note.txt']
    """
    checks.flag("replace", replace)
    target = file_path(path)
    raw = _encoded(data, target)
    try:
        if target.is_symlink() and replace:
            target = Path(os.path.realpath(target))
        _check_target(target)
        remove_leftovers(target.parent, [glob.escape(target.name[:_LONGEST])])
        _write(target, raw, replace=replace)
    except FileExistsError as error:
        raise BadFile(
            "the file exists already",
            str(target),
            "Choose another name or say replace=True.",
            file=target.name,
        ) from error
    except (OSError, ValueError) as error:
        raise BadFile(
            f"{target.name} cannot be written: {getattr(error, 'strerror', None) or error}",
            str(target),
            _REMEDIES.get(
                getattr(error, "errno", 0), "Check the path and the right to write there."
            ),
            file=target.name,
        ) from error
    return target


def _encoded(data: str | bytes, target: Path) -> bytes:
    if isinstance(data, bytes):
        return data
    try:
        return data.encode("utf-8")
    except UnicodeEncodeError as error:
        raise BadArgument(
            f"{target.name} would hold a letter that UTF-8 cannot write",
            data[error.start : error.end],
            "Remove half letters (lone surrogates) from the text.",
        ) from error


def _check_target(target: Path) -> None:
    """Refuse to put a file in place of a folder, a device or a file that is protected."""
    if target.is_dir():
        raise IsADirectoryError(errno.EISDIR, os.strerror(errno.EISDIR))
    if target.exists() and not target.is_file():
        raise OSError(errno.EINVAL, "it is a device, not a file")
    if target.exists() and not os.access(target, os.W_OK):
        raise PermissionError(errno.EACCES, os.strerror(errno.EACCES))


def _write(target: Path, raw: bytes, *, replace: bool) -> None:
    ending = f".{secrets.token_hex(4)}.{os.getpid()}.tmp"
    beside = target.with_name(f".{target.name[:_LONGEST]}{ending}")
    _open.add(beside)
    try:
        with beside.open("xb") as file:
            file.write(raw)
            file.flush()
            os.fsync(file.fileno())
        if replace:
            with suppress(OSError):
                beside.chmod(stat.S_IMODE(target.stat().st_mode))
            beside.replace(target)
        else:
            _take_name(beside, target)
    finally:
        with suppress(OSError):
            beside.unlink(missing_ok=True)
        _open.discard(beside)
    _sync_folder(target.parent)


def _take_name(beside: Path, target: Path) -> None:
    """Give a file its name unless that is taken; of several that try, one succeeds."""
    if os.name == "nt":
        beside.rename(target)  # refuses there what exists
        return
    try:
        os.link(beside, target)
    except OSError as error:
        if error.errno not in _NO_LINKS:
            raise
        target.touch(exist_ok=False)
        try:
            beside.replace(target)
        except OSError:
            target.unlink()
            raise


def _sync_folder(folder: Path) -> None:
    """Bring the new name to the disk, where the system can; the file itself is there already."""
    with suppress(OSError):
        number = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(number)
        finally:
            os.close(number)


def remove_leftovers(folder: Path, names: Iterable[str]) -> None:
    """Remove what a killed process was writing for files of these names (patterns as of `glob`)."""
    for name in names:
        for leftover in folder.glob(f".{name}.*.tmp"):
            parts = _LEFTOVER.fullmatch(leftover.name)
            if parts and leftover not in _open and not _alive(parts[1]):
                with suppress(OSError):
                    leftover.unlink(missing_ok=True)


def _alive(number: str) -> bool:
    """Whether another process of this number runs, and may still be writing."""
    if int(number) == os.getpid():
        return False
    if os.name == "nt":  # asking there would interrupt it
        return True
    try:
        os.kill(int(number), 0)
    except (OSError, OverflowError) as error:
        return isinstance(error, PermissionError)  # it runs, and belongs to somebody else
    return True
