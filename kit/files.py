"""Files that a user names: read whole, or refused with what would be right; written all together, or not at all."""

import hashlib
import os
import secrets
import shutil
from collections.abc import Callable, Mapping
from contextlib import suppress
from pathlib import Path

from kit.errors import InputError


def read_file(what: str, path: str | Path, *, right: str, most: int) -> bytes:
    """Return what is in a file of at most `most` bytes, or refuse it as `what` ("picture"), saying what is `right`."""
    file = Path(path)
    where = f"{what} {file.name!r}"
    try:
        # Anything else, such as a pipe, might be waited for without end.
        if not file.is_file():
            there = "a folder" if file.is_dir() else "not a file" if file.exists() else "no such file"
            raise InputError(where, there, f"the path of {right}")
        with file.open("rb") as stream:
            size = os.fstat(stream.fileno()).st_size
            found = stream.read(most + 1) if size <= most else b""
        if max(size, len(found)) > most:  # or it grows while it is read
            raise InputError(where, f"{max(size, len(found)):,} bytes or more", f"at most {most / 1e6:g} MB")
        return found
    except InputError:
        raise
    except (OSError, ValueError) as error:  # ValueError: a zero in the path
        raise InputError(where, f"a file that cannot be opened ({error})", right) from None


def write_files(where: str, folder: Path, made: Mapping[str, Callable[[], bytes]]) -> None:
    """Write files of these names in a folder, made where it is not there: all of them, or none; an `InputError` says
    `where`. All is on the disk before the first gets its name: even where the process is killed, each is the old or the
    new one.
    """
    new = not os.path.lexists(folder)
    stage = (folder.parent if new else folder) / f".part.{secrets.token_hex(4)}"
    done, there = list[str](), list[str]()
    try:
        for path in (folder / name for name in made):
            for place in {path, path.parent} - {folder}:
                plain = place.is_file() if place == path else place.is_dir()
                if place.is_symlink() or (place.exists() and not plain):
                    raise InputError(where, f"a link, a pipe or a folder called {place.name!r}", "a file of its own")
        for name, make in made.items():
            part = stage / name
            part.parent.mkdir(parents=True, exist_ok=True)
            with part.open("xb") as stream:
                stream.write(make())
                stream.flush()
                os.fsync(stream.fileno())
        if new:
            stage.rename(folder)
            return
        there = [name for name in made if (folder / name).exists()]
        for name in there:
            shutil.copy2(folder / name, stage / f"{name}.old")
        for name in made:
            (folder / name).parent.mkdir(exist_ok=True)
            done.append(name)
            (stage / name).replace(folder / name)
    except BaseException as error:
        for name in done:
            with suppress(OSError):
                (stage / f"{name}.old").replace(folder / name) if name in there else (folder / name).unlink()
        if isinstance(error, InputError) or not isinstance(error, OSError | ValueError):
            raise
        right = "a name in a folder that can be written, on a disk with room"
        raise InputError(where, f"cannot be written ({getattr(error, 'strerror', None) or error})", right) from None
    finally:
        shutil.rmtree(stage, ignore_errors=True)


def fingerprint(file: Path) -> str:
    """Return a mark of what is in a file; empty where there is none."""
    return hashlib.sha256(file.read_bytes()).hexdigest() if os.path.isfile(file) else ""
