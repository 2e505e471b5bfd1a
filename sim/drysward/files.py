"""Files written whole, where nothing that a person or another program has made is lost.

A file is filled under another name (``half_written``) and then put in its place. What a run has
put there is known, so that a stop can say it.
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

_NETCDF_BYTES = 4096  # of a variable's name and attributes, with room to spare

Write = Callable[[Path], object]
"""Fills the file at a path."""

RECORD = ".drysward-written"
"""File in a folder: the SHA-256, a line each, of every file that drysward has written there.

Kept beside the files and not in them: CSV has no place for a mark, and a file that was changed by
hand must no longer pass for one of the program's.
"""

# What a spreadsheet takes for a formula: OWASP, "CSV Injection",
# https://owasp.org/www-community/attacks/CSV_Injection
_FORMULA = tuple("=+-@\t\n＝＋－＠")


def user_cache() -> Path:
    """Where the user's system keeps what a program can make again."""
    return Path(platformdirs.user_cache_dir("drysward", appauthor=False))


# Folders that this run writes to and files that it has put there, so that a stop can tell them.
_claimed: set[Path] = set()
_written: list[Path] = []
_PLACING = Lock()
_STOPPING = Event()
_PATIENCE_S = 5.0
# A folder on a network holds files of processes that run elsewhere.
_HOST = re.sub(r"\W", "_", platform.node())
_HALF_WRITTEN = re.compile(rf"\..+-{_HOST}-(\d{{1,9}})\.part")


def half_written(path: Path) -> Path:
    """Where a file is filled before it is put in its place: ``.NAME-HOST-PID.part`` beside it."""
    return path.with_name(f".{path.name}-{_HOST}-{os.getpid()}.part")


def begin_run() -> None:
    """Forget what runs before in this process have claimed and written."""
    _claimed.clear()
    _written.clear()


def written() -> list[Path]:
    """Files that this run has put in the folders that it was given, each whole."""
    return [path for path in _written if path.parent in _claimed]


def leave_off() -> None:
    """Begin no more files and put none in place; the process is about to end.

    Waits for the file that is being written, which takes a second at most as a rule.
    """
    _STOPPING.set()
    _PLACING.acquire(timeout=_PATIENCE_S)


def _go_on() -> None:
    """Go no further where the process is about to end: whoever holds a lock may take it again."""
    if _STOPPING.is_set():
        Event().wait()


def clear_own() -> None:
    """Remove what this process has half written, the last thing that it does."""
    for folder in tuple(_claimed):
        for part in folder.glob(f".*-{os.getpid()}.part"):
            with suppress(OSError):
                part.unlink()


def clear_leftovers(folder: Path) -> None:
    """Remove files half written by processes of this machine that no longer run."""
    for part in folder.glob(".*.part"):
        made_by = _HALF_WRITTEN.fullmatch(part.name)
        # Elsewhere than on POSIX a file that somebody writes cannot be removed.
        if made_by and not (os.name == "posix" and _runs(int(made_by[1]))):
            with suppress(OSError):
                part.unlink()


def _runs(process: int) -> bool:
    try:
        os.kill(process, 0)
    except ProcessLookupError:
        return False
    except (OSError, OverflowError):
        return True  # another user's
    return True


@dataclass(frozen=True)
class Outputs:
    """What a command may write: no file that it reads, and over none but those on ``RECORD``.

    A link is followed, and the file behind it judged. A pipe or a device, such as /dev/null, takes
    what is written.

    Parameters
    ----------
    inputs : files that the command reads, which are never written to, by whatever name.
    force : replace any other file that is there.
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
                raise FaultyInput(Fault(str(path), "is read by this command", "name another place"))
            elif stat.S_ISREG(there.st_mode):
                self._claim_replacing(path)
            elif not _takes_bytes(there):
                raise FaultyInput(Fault(str(path), "is no file that can be written", "name a file"))
        except (OSError, ValueError) as error:
            raise _unwritable(path, error) from None

    def _claim_replacing(self, path: Path) -> None:
        real = _behind_link(path)
        claim_folder(real.parent, make=False)
        os.close(os.open(real, os.O_WRONLY))  # a file without leave to write is left alone
        if not self.force and _digest(real) not in _on_record(real.parent):
            where = "is there" if real == path else f"leads to {real}, which is there"
            what = f"{where} already, and drysward has no record of writing it"
            raise FaultyInput(Fault(str(path), what, "name another place, or add --force"))

    def claim_folder(self, folder: Path, names: Iterable[str]) -> None:
        """``folder``, made in its parent if need be; FaultyInput unless ``names`` can be filled."""
        claim_folder(folder)
        for name in names:
            self.claim(folder / name)

    def write(self, files: Mapping[Path, Write]) -> list[Path]:
        """Fill files, all of them or none, and put them on record; their paths as given.

        FaultyInput when one cannot be written; what was there before is then left as it was.
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
        return list(files)


OWN_ONLY = Outputs()


def claim_folder(folder: Path, make: bool = True) -> None:
    """FaultyInput unless files can be written in ``folder``, made in its parent if need be.

    What dead processes left half done in it is cleared.
    """
    probe = half_written(folder / "probe")
    try:
        if make:
            folder.mkdir(exist_ok=True)
        probe.touch()
        probe.unlink()
    except FileExistsError:
        raise _unwritable(folder, NotADirectoryError("it is no folder")) from None
    except FileNotFoundError:
        missing = folder.parent if make else folder
        mend = f"make it first: mkdir -p {shlex.quote(str(missing))}"
        raise FaultyInput(Fault(str(folder), f"there is no folder {missing}", mend)) from None
    except (OSError, ValueError) as error:
        raise _unwritable(folder, error) from None
    _claimed.add(folder)
    clear_leftovers(folder)


def write_whole(
    files: Mapping[Path, Write], lasting: bool = False, mend: str = "name another place"
) -> None:
    """Let each function fill a file beside its path; put them in their places when all are whole.

    ``lasting``: safe on the disk before that, should the machine fail. FaultyInput when one cannot
    be written, with what mends it; what was there before is then left as it was.
    """
    parts = {path: half_written(path) for path in files}
    path = Path()
    try:
        for path, write in files.items():
            _go_on()
            with _PLACING:
                write(parts[path])
                if lasting:
                    _save(parts[path])
        _go_on()
        with _PLACING:
            for path, part in parts.items():
                os.replace(part, path)
                _written.append(path)
                if lasting and os.name == "posix":
                    _save(path.parent)
    except OSError as error:
        raise _unwritable(path, error, mend) from None
    finally:
        for part in parts.values():
            with suppress(OSError):
                part.unlink(missing_ok=True)


def _save(path: Path) -> None:
    """Wait until a file, or what a folder says of its files, is safe on the disk."""
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
        told = "has no ending that says what kind of file it is to be"
        raise FaultyInput(Fault(str(path), told, " ".join(endings)))
    return path.suffix.lower()


def write_csv(rows: Iterable[Sequence[object]], path: Path) -> None:
    """Rows as CSV. A text that a spreadsheet would take for a formula gets an apostrophe before it,
    as OWASP recommends; numbers stay as they are.
    """
    with path.open("w", encoding="utf-8", newline="") as stream:
        out = csv.writer(stream, lineterminator="\n")
        out.writerows([csv_cell(cell) for cell in row] for row in rows)


def write_netcdf(
    dataset: xr.Dataset,
    path: Path,
    encoding: Mapping[str, Mapping[str, Any]],
    more: Callable[[xr.Dataset], Mapping[str, str]] | None = None,
) -> None:
    """A Dataset as NetCDF 4. OSError when it cannot be written.

    ``more`` gives attributes of the file from what stands in it, undecoded.
    """
    import netCDF4
    import xarray as xr
    from xarray.backends import NetCDF4DataStore

    _claim_room(path, dataset.nbytes + _NETCDF_BYTES * (1 + len(dataset.variables)))
    try:
        with netCDF4.Dataset(path, "w", format="NETCDF4") as file:
            store = NetCDF4DataStore(file)
            dataset.dump_to_store(store, encoding=encoding)
            if more is not None:
                file.setncatts(dict(more(xr.open_dataset(store, decode_cf=False).load())))
    except RuntimeError as error:
        raise OSError(errno.EIO, str(error)) from None


def _claim_room(path: Path, size: int) -> None:
    """OSError unless a file of so many bytes can be written.

    Of a full disk the library says no more than "HDF error", and may crash.
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
    text = cell.replace("\r\n", "\n").replace("\r", "\n")  # csv puts no quotes around \r
    return f"'{text}" if text.startswith(_FORMULA) else text


def _status(path: Path) -> os.stat_result | None:
    """What is at ``path``, behind any link; None where nothing is."""
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
    """Whether it is a pipe or a device, which hold nothing that could be lost."""
    return stat.S_ISFIFO(there.st_mode) or stat.S_ISCHR(there.st_mode)


def _stream(path: Path, write: Write) -> None:
    """Fill a file elsewhere and send its bytes: not every format can be written in one go."""
    try:
        with tempfile.TemporaryDirectory() as spare:
            made = Path(spare) / "made"
            write(made)
            with made.open("rb") as source, path.open("wb") as sink:
                shutil.copyfileobj(source, sink)
    except OSError as error:
        raise _unwritable(path, error) from None


def _on_record(folder: Path) -> list[str]:
    """Digests of all that drysward has written in a folder."""
    record = folder / RECORD
    return record.read_text(encoding="ascii", errors="replace").split() if record.is_file() else []


def _recorded(folder: Path, write: Write) -> Write:
    """``write``, with what it has written put on record before the file gets its name."""

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
    """Why the system refused, in its words."""
    return getattr(error, "strerror", None) or str(error)


def _unwritable(path: Path, error: Exception, mend: str = "name another place") -> FaultyInput:
    return FaultyInput(Fault(str(path), f"cannot be written ({reason(error)})", mend))
