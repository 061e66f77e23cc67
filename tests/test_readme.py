"""The README's Python runs as it stands, one block after the other, beside a picture called as in the text."""

import re
import shutil
from pathlib import Path

from PIL import Image

ROOT = Path(__file__).parents[1]


def test_the_python_of_the_readme_runs(tmp_path, monkeypatch, capsys):
    text = (ROOT / "README.md").read_text(encoding="utf-8")
    blocks = re.findall(r"```python\n(.*?)```", text, re.DOTALL)
    assert len(blocks) >= 3
    shutil.copytree(ROOT / "notebooks" / "houses", tmp_path / "notebooks" / "houses")
    Image.new("RGB", (60, 40), (150, 90, 70)).save(tmp_path / "my_house.jpg")
    monkeypatch.chdir(tmp_path)
    names = {}
    for block in blocks:
        exec(compile(block, "README.md", "exec"), names)
    said = capsys.readouterr().out
    assert "8,000 lumens" in said
    assert "Sat 5 Dec 2026" in said
