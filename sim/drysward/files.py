"""Files that are written whole, without loss of files of other origin.

A file is written under another name (``half_written``) and then renamed. A run keeps a list of the
files that it has put in place, for the message after a stop.
"""

from __future__ import annotations

import csv
import errno
import hashlib
import os
import platform
import re
import shlex
import shutil
import stat
import tempfile
from collections.abc import Callable, Iterable, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from threading import Event, Lock
from typing import TYPE_CHECKING, Any

import platformdirs

from drysward.faults import Fault, FaultyInput

if TYPE_CHECKING:
    import xarray as xr

_NETCDF_BYTES = 4096  # generous size of a variable's name and attributes

Write = Callable[[Path], object]
"""Writes the file at a path."""

RECORD = ".drysward-written"
"""File in a folder with the SHA-256, one a line, of every file that drysward has written there.

Kept next to the files and not in them: CSV has no place for a mark, and a file changed by hand must
no longer count as written by the program.
"""

# Text that a spreadsheet reads as a formula: OWASP, "CSV Injection",
# https://owasp.org/www-community/attacks/CSV_Injection
_FORMULA = tuple("=+-@\t\n＝＋－＠")


def user_cache() -> Path:
    """The user's cache folder for files that can be recreated."""
    return Path(platformdirs.user_cache_dir("drysward", appauthor=False))


# Folders that this run writes to and files that it has put there, for the message after a stop.
_claimed: set[Path] = set()
_new_folders: list[Path] = []  # of those, the ones that were not there before
_written: list[Path] = []
_PLACING = Lock()
_STOPPING = Event()
_PATIENCE_S = 5.0
# A network folder holds files of processes on other machines.
_HOST = re.sub(r"\W", "_", platform.node())
_HALF_WRITTEN = re.compile(rf"\..+-{_HOST}-(\d{{1,9}})\.part")


def half_written(path: Path) -> Path:
    """Name of a file while it is being written: ``.NAME-HOST-PID.part`` in the same folder."""
    return path.with_name(f".{path.name}-{_HOST}-{os.getpid()}.part")


def begin_run() -> None:
    """Forget the folders and files of earlier runs in this process."""
    _claimed.clear()
    _new_folders.clear()
    _written.clear()


def written() -> list[Path]:
    """Complete files that this run has put in its output folders."""
    return [path for path in _written if path.parent in _claimed]


def stop_writing() -> None:
    """Start no more files and put none in place; the process is about to end.

    Waits for the file that is being written, usually a second at most.
    """
    _STOPPING.set()
    _PLACING.acquire(timeout=_PATIENCE_S)


def _halt_if_stopping() -> None:
    """Wait forever once the process is about to end, so that no thread writes any more."""
    if _STOPPING.is_set():
        Event().wait()


def remove_parts() -> None:
    """Remove the half-written files of this process, as its last act, and folders left empty."""
    for folder in tuple(_claimed):
        for part in folder.glob(f".*-{os.getpid()}.part"):
            with suppress(OSError):
                part.unlink()
    remove_empty()


def remove_empty() -> None:
    """Remove folders that this run made and put nothing in, after it has failed or stopped."""
    for folder in _new_folders:
        with suppress(OSError):
            folder.rmdir()


def clear_leftovers(folder: Path) -> None:
    """Remove half-written files of processes on this machine that no longer run."""
    for part in folder.glob(".*.part"):
        writer = _HALF_WRITTEN.fullmatch(part.name)
        # Outside POSIX, a file that is open for writing cannot be removed.
        if writer and not (os.name == "posix" and _runs(int(writer[1]))):
            with suppress(OSError):
                part.unlink()


def _runs(process: int) -> bool:
    try:
        os.kill(process, 0)
    except ProcessLookupError:
        return False
    except (OSError, OverflowError):
        return True  # a process of another user
    return True


@dataclass(frozen=True)
class Outputs:
    """Files that a command may write: none of its inputs, and no existing file that is not on
    ``RECORD``.

    Links are followed, and the file behind them is checked. A pipe or a device, such as /dev/null,
    is written to as it is.

    Parameters
    ----------
    inputs : files that the command reads, never written to under any name.
    force : replace any other existing file.
    """

    inputs: tuple[Path, ...] = ()
    force: bool = False

    def claim(self, path: Path) -> None:
        """FaultyInput unless a file can be written at ``path``. Nothing is changed."""
        try:
            there = _status(path)
            if there is None:
                claim_folder(_behind_link(path).parent, make=False)
            elif any(_is_at(read, there) for read in self.inputs):
                what = "is an input of this command"
                raise FaultyInput(Fault(str(path), what, "choose another path"))
            elif stat.S_ISREG(there.st_mode):
                self._claim_replacing(path)
            elif not _takes_bytes(there):
                what = "is not a file that can be written"
                raise FaultyInput(Fault(str(path), what, "give the path of a file"))
        except (OSError, ValueError) as error:
            raise _unwritable(path, error) from None

    def _claim_replacing(self, path: Path) -> None:
        real = _behind_link(path)
        claim_folder(real.parent, make=False)
        os.close(os.open(real, os.O_WRONLY))  # keeps a file without write permission
        if not self.force and _digest(real) not in _on_record(real.parent):
            where = "already exists" if real == path else f"links to {real}, which already exists"
            what = f"{where} and was not written by drysward"
            raise FaultyInput(Fault(str(path), what, "choose another path, or add --force"))

    def claim_folder(self, folder: Path, names: Iterable[str]) -> None:
        """Create ``folder`` if needed; FaultyInput unless the ``names`` in it can be written."""
        claim_folder(folder)
        for name in names:
            self.claim(folder / name)

    def write(self, files: Mapping[Path, Write], stale: Iterable[Path] = ()) -> list[Path]:
        """Write all files or none, and put them on record; returns their paths.

        FaultyInput when one cannot be written; earlier files then stay as they were. Of ``stale``,
        files of an earlier run that these replace, those on record and unchanged are removed.
        """
        whole: dict[Path, Write] = {}
        for path, write in files.items():
            self.claim(path)
            there = _status(path)
            if there is not None and _takes_bytes(there):
                _stream(path, write)
            else:
                real = _behind_link(path)
                whole[real] = _recorded(real.parent, write)
        write_whole(whole)
        for path in stale:
            if path not in files and not any(_is_same(read, path) for read in self.inputs):
                _remove_own(path)
        return list(files)


OWN_ONLY = Outputs()


def claim_folder(folder: Path, make: bool = True) -> None:
    """FaultyInput unless files can be written in ``folder``, created in its parent if needed.

    Half-written files of processes that no longer run are removed.
    """
    probe = half_written(folder / "probe")
    try:
        if make and not folder.is_dir():
            folder.mkdir()
            _new_folders.append(folder)
        probe.touch()
        probe.unlink()
    except FileExistsError:
        raise _unwritable(folder, NotADirectoryError("it is not a folder")) from None
    except FileNotFoundError:
        missing = folder.parent if make else folder
        remedy = f"create it first: mkdir -p {shlex.quote(str(missing))}"
        raise FaultyInput(Fault(str(folder), f"there is no folder {missing}", remedy)) from None
    except (OSError, ValueError) as error:
        raise _unwritable(folder, error) from None
    _claimed.add(folder)
    clear_leftovers(folder)


def write_whole(
    files: Mapping[Path, Write], lasting: bool = False, remedy: str = "choose another path"
) -> None:
    """Let each function write a file next to its path; rename the files when all are complete.

    ``lasting``: flush them to the disk first, in case the machine fails. FaultyInput with the
    ``remedy`` when one cannot be written; earlier files then stay as they were.
    """
    parts = {path: half_written(path) for path in files}
    path = Path()
    try:
        for path, write in files.items():
            _halt_if_stopping()
            with _PLACING:
                write(parts[path])
                if lasting:
                    _save(parts[path])
        _halt_if_stopping()
        with _PLACING:
            for path, part in parts.items():
                os.replace(part, path)
                _written.append(path)
                if lasting and os.name == "posix":
                    _save(path.parent)
    except OSError as error:
        raise _unwritable(path, error, remedy) from None
    finally:
        for part in parts.values():
            with suppress(OSError):
                part.unlink(missing_ok=True)


def _save(path: Path) -> None:
    """Flush a file, or the entries of a folder, to the disk."""
    opened = os.open(path, os.O_RDWR if path.is_file() else os.O_RDONLY)
    try:
        os.fsync(opened)
    finally:
        os.close(opened)


def ending_of(path: Path, endings: Sequence[str]) -> str:
    """Which of ``endings`` the path has, the first for a pipe or device; FaultyInput if none."""
    with suppress(OSError, ValueError):
        if (there := _status(path)) is not None and _takes_bytes(there):
            return endings[0]
    if path.suffix.lower() not in endings:
        what = "has no file extension that gives its type"
        raise FaultyInput(Fault(str(path), what, f"end its name in {' or '.join(endings)}"))
    return path.suffix.lower()


def write_csv(rows: Iterable[Sequence[object]], path: Path) -> None:
    """Write rows as CSV. A text that a spreadsheet would read as a formula gets an apostrophe in
    front, as OWASP recommends; numbers stay as they are.
    """
    with path.open("w", encoding="utf-8", newline="") as stream:
        out = csv.writer(stream, lineterminator="\n")
        out.writerows([csv_cell(cell) for cell in row] for row in rows)


def write_netcdf(
    dataset: xr.Dataset,
    path: Path,
    encoding: Mapping[str, Mapping[str, Any]],
    attributes: Callable[[xr.Dataset], Mapping[str, str]] | None = None,
) -> None:
    """Write a Dataset as NetCDF 4. OSError when it cannot be written.

    ``attributes`` returns further attributes of the file from its undecoded contents.
    """
    import netCDF4
    import xarray as xr
    from xarray.backends import NetCDF4DataStore

    _reserve(path, dataset.nbytes + _NETCDF_BYTES * (1 + len(dataset.variables)))
    try:
        with netCDF4.Dataset(path, "w", format="NETCDF4") as file:
            store = NetCDF4DataStore(file)
            dataset.dump_to_store(store, encoding=encoding)
            if attributes is not None:
                file.setncatts(dict(attributes(xr.open_dataset(store, decode_cf=False).load())))
    except RuntimeError as error:
        raise OSError(errno.EIO, str(error)) from None


def _reserve(path: Path, size: int) -> None:
    """Reserve the bytes of a file; OSError when the disk has too little space.

    The library reports a full disk only as "HDF error", and may crash.
    """
    with path.open("wb") as file:
        if hasattr(os, "posix_fallocate"):
            os.posix_fallocate(file.fileno(), 0, size)
        else:
            for start in range(0, size, 1_000_000):
                file.write(bytes(min(size - start, 1_000_000)))


def csv_cell(cell: object) -> object:
    """A value as ``write_csv`` writes it: text that is no formula, numbers as they are."""
    if not isinstance(cell, str):
        return cell
    with suppress(ValueError):
        float(cell)
        return cell
    text = cell.replace("\r\n", "\n").replace("\r", "\n")  # csv does not quote \r
    return f"'{text}" if text.startswith(_FORMULA) else text


def _status(path: Path) -> os.stat_result | None:
    """Status of the file at ``path``, links followed; None when there is none."""
    try:
        return path.stat()
    except (FileNotFoundError, NotADirectoryError):
        return None


def _is_at(path: Path, there: os.stat_result) -> bool:
    with suppress(OSError, ValueError):
        return os.path.samestat(path.stat(), there)
    return False


def _behind_link(path: Path) -> Path:
    return Path(os.path.realpath(path)) if path.is_symlink() else path


def _takes_bytes(there: os.stat_result) -> bool:
    """Whether it is a pipe or a device, which have no contents to lose."""
    return stat.S_ISFIFO(there.st_mode) or stat.S_ISCHR(there.st_mode)


def _stream(path: Path, write: Write) -> None:
    """Write a temporary file and copy its bytes: some formats need a file that can seek."""
    try:
        with tempfile.TemporaryDirectory() as spare:
            complete = Path(spare) / "complete"
            write(complete)
            with complete.open("rb") as source, path.open("wb") as sink:
                shutil.copyfileobj(source, sink)
    except OSError as error:
        raise _unwritable(path, error) from None


def _is_same(read: Path, path: Path) -> bool:
    there = _status(path)
    return there is not None and _is_at(read, there)


def _remove_own(path: Path) -> None:
    """Remove a file that drysward wrote there and that is unchanged since."""
    with suppress(OSError):
        is_file = path.is_file() and not path.is_symlink()
        if is_file and _digest(path) in _on_record(path.parent):
            path.unlink()


def _on_record(folder: Path) -> list[str]:
    """Digests of all that drysward has written in a folder."""
    record = folder / RECORD
    return record.read_text(encoding="ascii", errors="replace").split() if record.is_file() else []


def _recorded(folder: Path, write: Write) -> Write:
    """``write``, with the file put on record before it gets its name."""

    def fill(part: Path) -> None:
        write(part)
        digest = _digest(part)
        if digest not in _on_record(folder):
            with (folder / RECORD).open("a", encoding="ascii") as record:
                record.write(f"{digest}\n")

    return fill


def _digest(path: Path) -> str:
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


def reason(error: Exception) -> str:
    """The reason of the operating system for an error."""
    return getattr(error, "strerror", None) or str(error)


def _unwritable(
    path: Path, error: Exception, remedy: str = "choose another path"
) -> FaultyInput:
    return FaultyInput(Fault(str(path), f"cannot be written ({reason(error)})", remedy))
