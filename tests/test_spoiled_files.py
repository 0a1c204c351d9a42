"""Every spoiled file is read right, refused by row, or refused with a named error."""

import pytest

import edgekit as ek
from tests import spoiled_files, spoiled_logs, spoiled_pictures, test_bad_files
from tests.spoiled_files import ERROR, Spoiled, spoiled


def test_there_are_three_hundred_spoiled_files_and_their_names_differ():
    lists = [spoiled(), spoiled_logs.SPOILED, test_bad_files.CASES]
    lists.append(list(spoiled_pictures.spoiled()))
    for cases in lists:
        assert len({case.name for case in cases}) == len(cases)
    assert sum(map(len, lists)) >= 300


@pytest.mark.parametrize("case", spoiled(), ids=lambda case: case.name)
def test_a_spoiled_file_gives_what_it_must(case: Spoiled, tmp_path):
    path = case.write(tmp_path)
    before = path.read_bytes() if path.is_file() else None
    if case.gives == ERROR:
        with pytest.raises(ek.EdgekitError) as caught:
            case.read(path)
        assert caught.value.remedy
        assert case.says in str(caught.value)
    else:
        case.read(path)  # which compares
    if before is not None:
        assert path.read_bytes() == before


def test_the_corpus_is_the_same_each_time():
    names = [case.name for case in spoiled()]
    spoiled_files.spoiled.cache_clear()
    assert [case.name for case in spoiled()] == names
