"""Files that a user names: read whole, or refused with what would be right."""

from pathlib import Path

from kit.errors import InputError


def read_file(what: str, path: str | Path, *, right: str, most: int) -> bytes:
    """Return what is in a file.

    `what`: what it should hold, as the message names it: ``"picture"``; `path` (str or Path); `right`: what would
    be right, as a phrase: ``"a PNG or JPEG picture"``; `most`: bytes; a larger file is a mistake or a trap, and is
    not read. Raises `InputError` for what is no path, no file, too large, or cannot be opened.
    """
    if not isinstance(path, str | Path):
        raise InputError(what, path, f"the path of {right}")
    file = Path(path)
    where = f"{what} {file.name!r}"
    try:
        # Anything else, such as a pipe, might be waited for without end.
        if not file.is_file():
            there = "a folder" if file.is_dir() else "not a file" if file.exists() else "no such file"
            raise InputError(where, there, f"the path of {right}")
        size = file.stat().st_size
        if size > most:
            raise InputError(where, f"{size:,} bytes", f"at most {most // 1_000_000} MB")
        return file.read_bytes()
    except InputError:
        raise
    except (OSError, ValueError) as error:  # ValueError: a zero in the path
        raise InputError(where, f"a file that cannot be opened ({error})", right) from None
