"""Run the notebooks and store the text they print; pictures and widget state are left out.

    python tests/store_outputs.py

Run it after a change that moves a number on purpose, and read the difference before you commit it.
"""

from pathlib import Path

import nbformat
from nbclient import NotebookClient

NOTEBOOKS = Path(__file__).parents[1] / "notebooks"


def store(path: Path) -> None:
    """Run one notebook in its own folder and write it back."""
    notebook = nbformat.read(path, as_version=4)
    NotebookClient(notebook, timeout=300, resources={"metadata": {"path": str(path.parent)}}).execute()
    notebook.metadata.pop("widgets", None)
    for cell in notebook.cells:
        cell.metadata = {"tags": cell.metadata["tags"]} if "tags" in cell.metadata else {}
        if "nbval-ignore-output" in cell.metadata.get("tags", []):
            cell.outputs = []
    nbformat.write(notebook, path)


if __name__ == "__main__":
    for found in sorted(NOTEBOOKS.glob("*.ipynb")):
        store(found)
        print(found.name)
