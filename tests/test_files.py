"""The one writer of files: what is on the disk is old or new, a set is whole or not there, and no link is followed."""

import errno
import hashlib
import os
import resource
import subprocess
import sys
import time
from contextlib import contextmanager
from pathlib import Path

import pytest

import kit
from kit.fields import NAME
from kit.files import read_file, write_files
from kit.toml_file import write_text

NAMES = ("a.bin", "b.bin", "below/c.bin")
SIZE = 60_000


def content(name, turn):
    """Bytes that say whose they are, so that a mixture is noticed."""
    seed = hashlib.sha256(f"{name} {turn}".encode()).digest()
    return turn.to_bytes(4, "big") + seed * (SIZE // len(seed))


def files(turn):
    return {name: lambda name=name: content(name, turn) for name in NAMES}


def turn_of(path):
    """The turn in which a file was written, whole."""
    found = path.read_bytes()
    turn = int.from_bytes(found[:4], "big")
    assert found == content("/".join(path.parts[-2:]) if path.parent.name == "below" else path.name, turn)
    return turn


def visible(folder):
    return sorted(str(p.relative_to(folder)) for p in folder.rglob("*") if p.is_file() and ".part." not in str(p))


@pytest.mark.skipif(not hasattr(os, "fork"), reason="kills a forked process, which is quick")
def test_a_hundred_kills_leave_whole_files_and_whole_new_folders(tmp_path):
    write_files("set", tmp_path / "one", files(1))
    (tmp_path / "new").mkdir()
    killed = 0
    for attempt in range(100):
        begin, ready = os.pipe()
        child = os.fork()
        if child == 0:  # no test runs on in the child
            for turn in range(2 + 1000 * attempt, 1000 * (attempt + 1)):
                os.write(ready, b".")
                write_files("set", tmp_path / "one", files(turn))
                write_files("set", tmp_path / "new" / str(turn), files(turn))
            os._exit(0)
        for _ in range(1 + attempt % 3):  # turns that are begun
            assert os.read(begin, 1) == b"."
        time.sleep(0.0004 * (attempt % 40))
        os.kill(child, 9)
        killed += os.WIFSIGNALED(os.waitpid(child, 0)[1])
        os.close(begin), os.close(ready)
        turns = [turn_of(tmp_path / "one" / name) for name in NAMES]  # each whole, though not all of one turn
    assert killed == 100
    assert visible(tmp_path / "one") == sorted(NAMES)
    assert turns != [1, 1, 1]
    new = [folder for folder in (tmp_path / "new").iterdir() if not folder.name.startswith(".part.")]
    assert len(new) >= 60
    for folder in new:
        assert visible(folder) == sorted(NAMES)
        assert {turn_of(folder / name) for name in NAMES} == {int(folder.name)}


@contextmanager
def small_disk(folder):
    """A disk of 256 kB where one may be made; skipped elsewhere."""
    made = subprocess.run(["mount", "-t", "tmpfs", "-o", "size=256k", "none", str(folder)], capture_output=True)
    if made.returncode:
        pytest.skip("no disk may be made here")
    try:
        yield folder
    finally:
        subprocess.run(["umount", str(folder)], check=True)


@pytest.mark.skipif(sys.platform != "linux", reason="needs tmpfs")
def test_a_full_disk_leaves_the_old_set_and_no_part_of_a_new_one(tmp_path):
    with small_disk(tmp_path) as disk:
        write_files("set", disk / "one", {"a.bin": files(1)["a.bin"]})
        before = visible(disk)
        for folder in ("one", "two"):
            with pytest.raises(kit.InputError, match=r"^set = 'cannot be written \(No space left.*with room"):
                write_files("set", disk / folder, files(2) | {"d.bin": lambda: bytes(200_000)})
            assert visible(disk) == before
            assert turn_of(disk / "one" / "a.bin") == 1
            assert not list(disk.rglob(".part*"))
        write_files("set", disk / "one", {"a.bin": files(3)["a.bin"]})  # there is room again
        assert turn_of(disk / "one" / "a.bin") == 3


@pytest.fixture
def scene(wall, straight):
    return kit.Scene(facade=wall(), projectors=[straight()])


def test_masks_that_do_not_fit_leave_the_good_ones(scene, tmp_path):
    paths = kit.save_masks(tmp_path / "masks", scene, {"wall": "animation"})
    before = {path: path.read_bytes() for path in paths}
    soft, hard = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (100, hard))
    try:
        with pytest.raises(kit.InputError, match=r"folder .*File too large"):
            kit.save_masks(tmp_path / "masks", scene, {"wall": "nothing"}, overwrite=True)
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, (soft, hard))
    assert {path: path.read_bytes() for path in paths} == before
    assert len(before) == len(list((tmp_path / "masks").iterdir())) == 5


@pytest.mark.parametrize("held", NAMES)
def test_where_one_file_cannot_be_replaced_all_stay_as_they_were(tmp_path, monkeypatch, held):
    """As where another program holds it open, on a system on which that counts."""
    write_files("set", tmp_path / "one", {name: make for name, make in files(1).items() if name != "b.bin"})
    replace = Path.replace

    def refused(self, target):
        if target == tmp_path / "one" / held and not str(self).endswith(".old"):
            raise PermissionError(errno.EACCES, "held open")
        return replace(self, target)

    monkeypatch.setattr(Path, "replace", refused)
    with pytest.raises(kit.InputError, match="held open"):
        write_files("set", tmp_path / "one", files(2))
    assert visible(tmp_path) == ["one/a.bin", "one/below/c.bin"]
    assert {turn_of(path) for path in (tmp_path / "one").rglob("*.bin")} == {1}


def test_a_file_that_cannot_be_made_leaves_nothing(tmp_path):
    def broken():
        raise ZeroDivisionError

    with pytest.raises(ZeroDivisionError):
        write_files("set", tmp_path / "new", files(1) | {"d.bin": broken})
    assert not list(tmp_path.iterdir())


@pytest.mark.bad_input
@pytest.mark.parametrize("name", ["a.bin", "below/c.bin"])
def test_nothing_is_written_through_a_link_or_into_a_pipe(tmp_path, name):
    folder, other = tmp_path / "one", tmp_path / "other"
    folder.mkdir(), other.mkdir()
    (folder / "below").mkdir()
    (other / "c.bin").write_bytes(b"mine")
    for make in (lambda at: at.symlink_to(other / "c.bin"), lambda at: at.symlink_to(other / "none"), os.mkfifo):
        make(folder / name)
        with pytest.raises(kit.InputError, match=r"a link, a pipe or a folder .*expected a file of its own"):
            write_files("set", folder, files(2))
        (folder / name).unlink()
    (folder / "below").rmdir()
    (folder / "below").symlink_to(other)
    with pytest.raises(kit.InputError, match="below"):
        write_files("set", folder, files(2))
    assert visible(tmp_path) == ["other/c.bin"]
    assert (other / "c.bin").read_bytes() == b"mine"


@pytest.mark.bad_input
def test_text_goes_into_a_folder_that_is_there(tmp_path):
    for path in (tmp_path / "none" / "a.toml", tmp_path / "a\0.toml", tmp_path):
        with pytest.raises(kit.InputError, match=r"^show file"):
            write_text("show file", path, "a = 1")
    with pytest.raises(kit.InputError, match=r"^show file .*surrogates"):
        write_text("show file", tmp_path / "a.toml", "\ud800")
    assert not list(tmp_path.iterdir())


@pytest.mark.bad_input
@pytest.mark.parametrize("name", ["a\nb", "a\tb", "\x1b[2J", "a\x7f", "\x85", "\ud800", "a\u2028b", "\0"])
def test_no_control_characters_in_a_name(name):
    with pytest.raises(kit.InputError, match=r"^patch name = .*(one line|one letter)"):
        kit.Patch(name, [(0, 0), (1, 0), (1, 1)], kit.Surface(name="plain", reflectance=0.5))
    assert NAME.check("name", "fenêtre \u00a0窓 👩\u200d🎨") == "fenêtre \u00a0窓 👩\u200d🎨"


@pytest.mark.bad_input
def test_a_file_that_grows_is_read_so_far_and_no_further(tmp_path, monkeypatch):
    file = tmp_path / "grows"
    file.write_bytes(bytes(1000))
    assert len(read_file("file", file, right="a file", most=1000)) == 1000
    with pytest.raises(kit.InputError, match=r"1,000 bytes or more.*at most 0.000999 MB"):
        read_file("file", file, right="a file", most=999)
    monkeypatch.setattr(os, "fstat", lambda _: os.stat_result([0] * 10))  # said before it grew
    with pytest.raises(kit.InputError, match=r"1,000 bytes or more.*at most 0.000999 MB"):
        read_file("file", file, right="a file", most=999)
