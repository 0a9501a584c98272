"""The notebooks run from clean, keep no stale output, and are all listed in the first."""

from __future__ import annotations

import re
from pathlib import Path

import nbformat
import pytest
from nbclient import NotebookClient

ROOT = Path(__file__).parent.parent
NOTEBOOKS = sorted((ROOT / "notebooks").glob("[0-9]*.ipynb"))
#: Longest that one cell may take on a loaded machine before it counts as hung. [s]
HUNG_S = 300


def cells(path: Path, kind: str):
    notebook = nbformat.read(path, as_version=4)
    return [cell for cell in notebook.cells if cell.cell_type == kind]


@pytest.fixture(scope="module")
def clean_copy(tmp_path_factory):
    """A folder with the notebooks alone, beside the samples that they name."""
    home = tmp_path_factory.mktemp("clean")
    (home / "notebooks").mkdir()
    for path in NOTEBOOKS:
        (home / "notebooks" / path.name).write_bytes(path.read_bytes())
    (home / "sample_heads").symlink_to(ROOT / "sample_heads")
    return home / "notebooks"


@pytest.fixture(scope="module", params=NOTEBOOKS, ids=lambda path: path.stem)
def run_notebook(request, clean_copy):
    """One notebook, executed from clean in a kernel of its own."""
    notebook = nbformat.read(clean_copy / request.param.name, as_version=4)
    client = NotebookClient(
        notebook, timeout=HUNG_S, resources={"metadata": {"path": str(clean_copy)}}
    )
    client.execute()
    return request.param.stem, notebook


#: What the first code cell says, where more is known than that it says something.
ANSWERS = {"01_first_fit": r"It (fits|does not fit): Tamsin, otter\."}


def test_a_notebook_runs_from_clean_and_says_its_answer_first(run_notebook):
    name, notebook = run_notebook
    ran = [cell for cell in notebook.cells if cell.cell_type == "code"]
    assert [cell.execution_count for cell in ran] == list(range(1, len(ran) + 1))
    said = "".join(output.get("text", "") for output in ran[0].outputs)
    assert re.match(ANSWERS.get(name, r"\s*\w"), said)


@pytest.mark.parametrize("path", NOTEBOOKS, ids=lambda path: path.stem)
def test_a_notebook_is_valid_and_stored_without_outputs(path):
    nbformat.validate(nbformat.read(path, as_version=4))
    for cell in cells(path, "code"):
        assert cell.outputs == []
        assert cell.execution_count is None


@pytest.mark.parametrize("path", NOTEBOOKS, ids=lambda path: path.stem)
def test_a_notebook_opens_with_its_question(path):
    first = nbformat.read(path, as_version=4).cells[0]
    assert re.match(r"# [^\n]*\?\n", first.source)


def test_the_start_lists_every_notebook_with_its_question():
    listed = "\n".join(cell.source for cell in cells(NOTEBOOKS[0], "markdown"))
    for path in NOTEBOOKS[1:]:
        question = cells(path, "markdown")[0].source.splitlines()[0].removeprefix("# ")
        assert f"| {question} | [{path.stem}]({path.name}) |" in listed
