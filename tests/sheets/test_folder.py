import pytest

from fitkit.errors import SheetError
from fitkit.sheets.folder import must_be_free, whole_folder, write_contents


def fill(target, *, overwrite=False, text="new"):
    with whole_folder(target, overwrite=overwrite) as part:
        (part / "page.txt").write_text(text)
        write_contents(part, ["page.txt"])


def fill_half(target, trouble):
    with whole_folder(target, overwrite=True) as part:
        (part / "page.txt").write_text("half")
        raise trouble


def names_in(folder):
    return sorted(path.name for path in folder.iterdir())


def test_a_folder_appears_with_its_parents_and_nothing_beside_it(tmp_path):
    fill(tmp_path / "a" / "b")
    assert names_in(tmp_path / "a") == ["b"]
    assert names_in(tmp_path / "a" / "b") == ["contents.json", "page.txt"]


def test_an_empty_folder_is_filled(tmp_path):
    (tmp_path / "out").mkdir()
    fill(tmp_path / "out")
    assert (tmp_path / "out" / "page.txt").read_text() == "new"


@pytest.mark.parametrize("trouble", [OSError(28, "No space left"), KeyboardInterrupt()])
def test_trouble_midway_leaves_nothing_new_and_the_old_untouched(tmp_path, trouble):
    fill(tmp_path / "out", text="old")
    expected = SheetError if isinstance(trouble, OSError) else KeyboardInterrupt
    with pytest.raises(expected):
        fill_half(tmp_path / "out", trouble)
    assert names_in(tmp_path) == ["out"]
    assert (tmp_path / "out" / "page.txt").read_text() == "old"


def test_a_report_is_replaced_only_when_asked(tmp_path):
    fill(tmp_path / "out", text="old")
    with pytest.raises(SheetError, match=r"overwrite=True \(--overwrite\)"):
        fill(tmp_path / "out")
    fill(tmp_path / "out", overwrite=True)
    assert (tmp_path / "out" / "page.txt").read_text() == "new"
    assert names_in(tmp_path) == ["out"]


def test_a_folder_with_anything_else_in_it_is_never_replaced(tmp_path):
    fill(tmp_path / "out")
    (tmp_path / "out" / "photo.jpg").write_text("mine")
    with pytest.raises(SheetError, match=r"holds what no report wrote \(photo\.jpg\)"):
        fill(tmp_path / "out", overwrite=True)
    assert (tmp_path / "out" / "photo.jpg").read_text() == "mine"


@pytest.mark.parametrize("listing", ["", "[]", '{"files": 3}', '{"files": ['])
def test_a_broken_list_of_contents_protects_the_folder(tmp_path, listing):
    fill(tmp_path / "out")
    (tmp_path / "out" / "contents.json").write_text(listing)
    with pytest.raises(SheetError, match="no report wrote"):
        fill(tmp_path / "out", overwrite=True)


def test_a_folder_of_empty_folders_is_not_replaced(tmp_path):
    (tmp_path / "out" / "inner").mkdir(parents=True)
    with pytest.raises(SheetError, match="empty folders"):
        must_be_free(tmp_path / "out", overwrite=True)


def test_a_file_in_the_way_is_refused(tmp_path):
    (tmp_path / "out").write_text("mine")
    with pytest.raises(SheetError, match="is a file, not a folder"):
        fill(tmp_path / "out", overwrite=True)


def test_a_parent_that_is_a_file_is_told_of(tmp_path):
    (tmp_path / "file").write_text("mine")
    with pytest.raises(SheetError, match="cannot be written"):
        fill(tmp_path / "file" / "out")
