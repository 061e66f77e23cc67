"""Long attempts to break the kit, on demand; each prints what it counted, and fails where something broke.

``python tests/soak.py house --minutes 10``: one of the loaders (house, show, lamp, picture) by files that atheris
spoils, guided by the lines they reach (``pip install .[soak]``). ``api``: each argument of each public callable, then
two at once. ``panels --changes 1000``: so many changes of the controls of each panel, and what they add to the memory.
"""

import argparse
import ctypes
import gc
import io
import os
import random
import re
import resource
import struct
import sys
import tempfile
import time
import traceback
import warnings
import zlib
from pathlib import Path

ROOT = Path(__file__).parents[1]
sys.path.insert(0, str(ROOT / "notebooks"))
# What a file may cost [s of processor time, MB], and what one mistake may say [letters]. Lines that are counted are
# several times slower.
SOON, GROWN, LONGEST = 5.0, 700.0, 300
LAMP = "IESNA:LM-63-2002\n[LUMINAIRE] a\nTILT=NONE\n1 -1 1 3 2 1 2 0 0 0\n1 1 10\n0 45 90\n0 90\n100 70 0\n90 60 0\n"
TILTED = LAMP.replace("NONE", "INCLUDE\n1\n2\n0 90\n1 0.9")
EULUMDAT = [
    *("maker", 1, 2, 4, 0, 3, 0, "report", "lamp", "number", "file", "date", 300, 200, 100, 250, 150, 0, 0, 0, 0),
    *(100, 80, 1, 0, 1, 1, "LED", 1000, 3000, 80, 50, *[0.5] * 10, 0, 90, 180, 270, 0, 45, 90),
    *(100, 70, 0, 90, 60, 0, 80, 50, 0),
]  # fmt: skip
PNG = b"\x89PNG\r\n\x1a\n"
# Growth over 500 changes of any panel [MB].
CHANGES, MOST = 500, 20.0


# Loaders


def files(what):
    """The files to begin with."""
    if what == "house":
        return [path.read_bytes() for path in sorted((ROOT / "notebooks/houses").glob("[bl]*.toml"))]
    if what == "show":  # whose houses stay where they are
        there = f'house = "{ROOT}/tests/houses/'
        shows = sorted((ROOT / "tests/shows").glob("*.toml"))
        return [path.read_text(encoding="utf-8").replace('house = "../houses/', there).encode() for path in shows]
    if what == "lamp":
        lamps = LAMP, TILTED, "\n".join(map(str, EULUMDAT))
        return [*(lamp.encode() for lamp in lamps), (ROOT / "reference_data/headlamp.ies").read_bytes()]
    return list(pictures())


def pictures():
    """Small pictures of all formats and modes."""
    import numpy as np
    from PIL import Image

    noise = np.random.default_rng(1).integers(0, 256, (9, 12, 4), dtype=np.uint8)
    for kind in ("PNG", "JPEG", "WEBP", "TIFF", "BMP", "GIF"):
        for mode in ("1", "L", "P", "RGB", "RGBA", "I;16"):
            image = Image.fromarray(noise, "RGBA")
            image = Image.fromarray(noise[..., 0].astype(np.uint16) * 257) if mode == "I;16" else image.convert(mode)
            out = io.BytesIO()
            try:
                image.save(out, kind)
            except (OSError, ValueError, KeyError):
                continue
            yield out.getvalue()


def sums_mended(data):
    """A PNG with the check sums of its chunks, without which a decoder would read no further."""
    if not data.startswith(PNG):
        return data
    at, parts = 8, [PNG]
    while at + 8 <= len(data):
        size = min(struct.unpack(">I", data[at : at + 4])[0], max(0, len(data) - at - 12))
        parts.append(struct.pack(">I", size) + data[at + 4 : at + 8 + size])
        parts.append(struct.pack(">I", zlib.crc32(data[at + 4 : at + 8 + size])))
        at += size + 12
    return b"".join(parts)


def spent():
    """Processor time [s] and the most memory so far [MB]."""
    return time.process_time(), resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024


def fault(load, path, refusal):
    """What is wrong with the answer to a file, and whether it was read."""
    begin, before = spent()
    read, said = False, ""
    with warnings.catch_warnings(record=True) as warned:
        warnings.simplefilter("always")
        try:
            load(path)
            read = True
        except refusal as error:
            lines = str(error).split("\n")
            if max(map(len, lines)) > LONGEST + len(path) or len(lines) > 10:
                said = f"{len(str(error))} letters"
        except Exception as error:
            at = traceback.extract_tb(error.__traceback__)[-1]
            said = f"{type(error).__name__} at {Path(at.filename).name}:{at.lineno}: {str(error)[:80]}"
    end, after = spent()
    said = said or (f"warns {str(warned[0].message)[:80]}" if warned else "")
    said = said or ("takes seconds" if end - begin > SOON else "")
    return said or ("takes much memory" if after - before > GROWN else ""), read


def loader(what, minutes):
    """Spoil files for one loader until the time is over."""
    import atheris

    with atheris.instrument_imports(include=["kit", "tomllib", "PIL"], exclude=["kit.light.kernel"]):
        import kit
        from kit.answers import show  # noqa: F401
        from kit.eye import picture_file  # noqa: F401
        from kit.sky import photometric_file  # noqa: F401
        from kit.wall import house_file  # noqa: F401
    loads = {"house": kit.load_house, "show": kit.open_show, "lamp": kit.load_distribution}
    load = loads.get(what) or (lambda path: kit.load_picture(path, transparent="black"))
    folder = Path(tempfile.mkdtemp(prefix="kit-soak-", dir="/dev/shm" if os.path.isdir("/dev/shm") else None))
    suffix = {"house": "toml", "show": "toml", "lamp": "dat"}.get(what, "png")
    path = str(folder / f"spoilt.{suffix}")
    (folder / "first").mkdir()
    for i, data in enumerate(files(what)):
        Path(path).write_bytes(data)
        assert fault(load, path, kit.InputError) == ("", True), f"file {i} to begin with is not read"
        (folder / "first" / str(i)).write_bytes(data)
    over, counts, bad = time.monotonic() + 60 * minutes, {True: 0, False: 0}, dict[str, bytes]()

    def one(data):
        with open(path, "wb") as stream:
            stream.write(data)
        said, read = fault(load, path, kit.InputError)
        counts[read] += 1
        kind = re.sub(r"\d+", "0", said)
        if said and kind not in bad:
            bad[kind] = data
            kept = Path(tempfile.gettempdir()) / f"kit-soak-{what}-{len(bad)}"
            kept.write_bytes(data)
            print(f"{kept}: {said}", flush=True)
        if time.monotonic() > over:
            print(f"{what}: {sum(counts.values()):,} files, {counts[True]:,} read, {len(bad)} distinct bad answers")
            sys.stdout.flush()
            os._exit(bool(bad))

    def spoil(data, most, seed):
        return sums_mended(atheris.Mutate(data, most))[:most]

    words = {word for data in files(what) for word in re.findall(rb"[A-Za-z_=\[\]{}]+|[\d.]+", data)}
    (folder / "words").write_text("".join(f'"{w.decode()}"\n' for w in sorted(words) if len(w) < 30))
    given = [
        sys.argv[0],
        str(folder / "first"),
        f"-dict={folder / 'words'}",
        "-rss_limit_mb=0",
        "-timeout=120",
        "-max_len=20000",
        "-verbosity=0",
    ]
    atheris.Setup(given, one, **({"custom_mutator": spoil} if what == "picture" else {}))
    atheris.Fuzz()


# Panels


def memory():
    """What the process holds now [MB], without what its allocator has free and keeps for the next time."""
    gc.collect()
    getattr(ctypes.CDLL(None), "malloc_trim", bool)(0)
    return int(Path("/proc/self/statm").read_text().split()[1]) * os.sysconf("SC_PAGE_SIZE") / 1e6


def change(controls, chance):
    """Move one control to a place that it has; return the control, and what it showed."""
    one = chance.choice(controls)
    before = one.value
    if hasattr(one, "options"):
        one.value = chance.choice(list(one.options))[1]
    elif isinstance(one.value, bool):
        one.value = not one.value
    elif isinstance(one.value, str):
        one.value = chance.choice(["", "a", "3", "9 ft", "~nosuchuser/x", "x" * 300, "-1", "nan", "0.5", "wall"])
    else:
        steps = round((one.max - one.min) / one.step)
        place = one.min + chance.randint(0, steps) * one.step
        one.value = one.base**place if hasattr(one, "base") else type(one.value)(place)
    return one, before


def growth(panel, changes, chance):
    """What so many changes of a panel's controls add to the memory [MB], and how many were refused."""
    before, refused = memory(), 0
    for _ in range(changes):
        rows = [panel.top, *panel.parts] if isinstance(panel.parts, list) else [panel]
        one, shown = change([one for row in rows for one in row.controls.values()], chance)
        if panel.show is None if len(rows) > 1 else panel.parts["message"].value:
            refused += 1
            # Or all that follow would be refused; one control may have moved another.
            panel.reset.click() if hasattr(panel, "reset") else setattr(one, "value", shown)
    return memory() - before, refused


def panels(changes, names):
    """Change panels, each on its own; return by how much too much one grew."""
    import matplotlib as mpl

    mpl.use("Agg")
    import kit
    import sliders

    made = {name: getattr(sliders, name) for name in sliders.__all__}
    os.chdir(tempfile.mkdtemp(prefix="kit-soak-"))
    bad, show = 0, kit.open_show(ROOT / "notebooks/houses/demo_show.toml")
    kit.save_show(show, "my_show.toml")
    for name in names or made:
        chance = random.Random(1)
        panel = made[name]() if name == "MakePanel" else made[name](show)
        panel.widget()
        growth(panel, 50, chance)  # what is kept of results, up to a limit
        begin = time.monotonic()
        for done in range(0, changes, CHANGES):
            grown, refused = growth(panel, min(CHANGES, changes - done), chance)
            bad += grown > MOST
            took = f"{refused} refused, {time.monotonic() - begin:.0f} s"
            print(f"{name}: from change {done}, up to {CHANGES} more: {grown:+.1f} MB, {took}", flush=True)
    return bad


def main():
    """Try one thing."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("what", choices=["house", "show", "lamp", "picture", "api", "panels"])
    parser.add_argument("--minutes", type=float, default=10.0)
    parser.add_argument("--changes", type=int, default=1000)
    parser.add_argument("--only", nargs="*", default=())
    given = parser.parse_args()
    if given.what == "panels":
        sys.exit(bool(panels(given.changes, given.only)))
    if given.what == "api":
        from api_calls import try_all

        sys.exit(bool(try_all(given.minutes, given.only)))
    loader(given.what, given.minutes)


if __name__ == "__main__":
    main()
