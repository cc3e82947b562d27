"""The notebooks run as they stand, are short, and carry no outputs."""

import os

import nbformat
import pytest
from nbclient import NotebookClient

from tests.places import ROOT

NOTEBOOKS = sorted((ROOT / "notebooks").glob("*.ipynb"))
MOST_CELLS = 10


def test_there_is_a_notebook():
    """Else the tests below would pass on nothing."""
    assert [path.name for path in NOTEBOOKS] == ["plan_a_week.ipynb"]


@pytest.mark.parametrize("path", NOTEBOOKS, ids=lambda path: path.name)
def test_it_runs_from_top_to_bottom(path, monkeypatch):
    """Executed in a fresh kernel; an error in any cell fails here. The end is a recommendation."""
    surroundings = os.pathsep.join([str(ROOT), os.environ.get("PYTHONPATH", "")])
    monkeypatch.setenv("PYTHONPATH", surroundings)
    notebook = nbformat.read(path, as_version=4)
    where = {"metadata": {"path": str(path.parent)}}
    NotebookClient(notebook, timeout=300, kernel_name="python3", resources=where).execute()
    shown = [output for cell in notebook.cells for output in cell.get("outputs", [])]
    assert sum("image/png" in output.get("data", {}) for output in shown) == 4
    words = [output["data"].get("text/plain", "") for output in shown if "data" in output]
    assert any("Cut from " in text for text in words)


@pytest.mark.parametrize("path", NOTEBOOKS, ids=lambda path: path.name)
def test_it_is_short_and_stripped(path):
    """Outputs stay out of the history; ten code cells are read in one sitting."""
    notebook = nbformat.read(path, as_version=4)
    nbformat.validate(notebook)
    code = [cell for cell in notebook.cells if cell.cell_type == "code"]
    assert len(code) <= MOST_CELLS
    assert all(cell.outputs == [] and cell.execution_count is None for cell in code)
