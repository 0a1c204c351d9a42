"""Results go into a file and come back whole, with what made them; nothing in a file is run."""

import ast
import io
import json
import re
import zipfile
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

import edgekit as ek
from edgekit.archive.codec import Encoder, kinds
from edgekit.checks import FloatArray
from tests.results import DEMO, results

SMALL = {"stations": 16, "depths": 4}
METHODS = {
    "rolls": ek.methods.freehand(),
    "steps": ek.methods.freehand(stroke=ek.strokes.local(placements=4)),
    "holder": ek.methods.held([15.0, 20.0]),
    "face": ek.methods.face_honing(),
    "both": ek.mixture(ek.methods.bench_stone(), ek.methods.face_honing(), sides=2, faces=1),
}


class MyRule:
    def used_up(self, lost: ek.WidthLoss) -> FloatArray:
        return np.asarray(lost.mean_width_mm / 0.1)

    def __str__(self) -> str:
        return "a tenth of a millimetre gone"


@pytest.fixture
def file(tmp_path):
    return tmp_path / "result.zip"


def there_and_back(result, file):
    return ek.read_result(ek.write_result(result, file, replace=True))


def same(one, other):
    """Every field to the last bit, by what goes into a file."""
    first, second = Encoder(), Encoder()
    words = [json.dumps(coder.encode(item)) for coder, item in ((first, one), (second, other))]
    assert words[0] == words[1]
    assert first.blade_texts() == second.blade_texts()
    for mine, its in zip(first.arrays, second.arrays, strict=True):
        assert mine.dtype == its.dtype
        assert np.array_equal(mine, its, equal_nan=mine.dtype.kind in "fM")


@pytest.mark.parametrize("name", METHODS)
def test_a_life_read_back_goes_on_to_the_same_bits(name, file):
    blade = ek.patterns.universal_curette()
    life = ek.live(blade, METHODS[name], rng=5, max_sessions=4, **SMALL)
    again = there_and_back(life, file)
    same(life, again)
    assert again.history.equals(life.history)
    assert again.cite() == life.cite()
    assert "key " in life.cite()
    ends = []
    for item in (life, again):
        worn = ek.use(item.worn(2), item.use, rng=item.streams)
        method = item.method.at(2)  # an alternation's own for that session
        ends.append(ek.sharpen(worn, method, rng=item.streams).worn)
    assert np.array_equal(ends[0].recession_um("left"), ends[1].recession_um("left"))
    assert np.array_equal(ends[0].recession_um("left"), life.worn(3).recession_um("left"))


def test_a_comparison_read_back_answers_the_same_questions(file):
    blade = ek.read_blade(DEMO / "traces" / "FH-03-AS1.toml")
    retire = (ek.MaxWidthLoss(fraction=0.3), ek.MinStrength())
    methods = [METHODS[name] for name in ("rolls", "steps", "face")]
    made = ek.compare(blade, methods, runs=6, seed=2, retire=retire, grid_runs=2, **SMALL)
    again = there_and_back(made, file)
    same(made, again)
    assert again.differences().equals(made.differences())
    assert repr(again) == repr(made)
    assert again.lives[0].grids[0].edge is again.blade.edges["used"]
    words = [ek.figures.differences(item).get_figure().texts for item in (made, again)]
    assert [text.get_text() for text in words[0]] == [text.get_text() for text in words[1]]


def test_a_forecast_read_back_serves_a_budget(file):
    made = results()["Forecast"]
    again = there_and_back(made, file)
    same(made, again)
    assert again.table.equals(made.table)
    assert again.cite() == made.cite()
    prices = ek.read_prices(DEMO / "prices.csv")
    first, second = (ek.budget(item, prices=prices).months for item in (made, again))
    assert first.equals(second)


def test_a_sweep_keeps_what_made_it(file):
    case = ek.LifeCase(blade=ek.patterns.hoe, method=ek.methods.powered(), **SMALL)
    table = ek.sweep(case, ek.full_grid({"use.strokes": [20, 45]}), runs=3, seed=1, progress=False)
    again = there_and_back(table, file)
    pd.testing.assert_frame_equal(table, again, check_exact=True)
    assert again.attrs["cite"] == table.attrs["cite"]
    assert "seed 1" in again.attrs["cite"]


def test_a_result_cites_the_versions_of_its_file(file):
    made = results()["Comparison"]
    ek.write_result(made, file)
    edit(file, lambda text: text.replace(f"edgekit {ek.__version__} (", "edgekit 0.0.9 ("))
    again = ek.read_result(file)
    assert "computed with edgekit 0.0.9 (results" in again.cite()
    assert again.cite() == made.cite().replace(ek.__version__, "0.0.9")
    assert "0.0.9" in ek.read_result(ek.write_result(again, file, replace=True)).cite()


def test_what_no_file_can_hold_is_refused_by_name(file):
    life = ek.live(ek.patterns.hoe(), METHODS["rolls"], retire=MyRule(), rng=1, **SMALL)
    with pytest.raises(ek.Cannot, match="MyRule"):
        ek.write_result(life, file)
    for wrong in (ek.patterns.hoe(), life.history.to_numpy(), None, "life.zip"):
        with pytest.raises(ek.BadArgument, match="result must be"):
            ek.write_result(wrong, file)
    assert not file.exists()


def edit(file, change):
    """The same archive with other words in its JSON."""
    with zipfile.ZipFile(file) as archive:
        members = {item.filename: archive.read(item) for item in archive.infolist()}
    members["result.json"] = change(members["result.json"].decode()).encode()
    pack(file, members)


def pack(file, members):
    with zipfile.ZipFile(file, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, data in members.items():
            archive.writestr(name, data)


@pytest.mark.parametrize(
    "change",
    [
        lambda text: text.replace('"kind": "method.Method"', '"kind": "subprocess.Popen"', 1),
        lambda text: text.replace('"kind": "method.Method"', '"kind": "archive.Encoder"', 1),
        lambda text: text.replace('"kind": "life.Life"', '"kind": "method.Hand"', 1),
        lambda text: text.replace('"stop"', '"halt"', 1),
        lambda text: re.sub(r'"array": \d+', '"array": 100000', text, count=1),
        lambda text: re.sub(r'"array": \d+', '"__class__": 1', text, count=1),
        lambda text: text.replace('"removal_gsd": 1.3', '"removal_gsd": -1.0', 1),
        lambda text: text.replace("edgekit result 1", "edgekit result 9"),
        lambda text: text.replace("source = ", "source = [", 1),
        lambda text: text[: len(text) // 2],
        lambda text: text[:0] + "[]",
        lambda text: text[:0] + "[" * 100_000,
    ],
)
def test_an_edited_file_is_refused(file, change):
    life = ek.live(ek.patterns.hoe(), METHODS["rolls"], rng=1, max_sessions=2, **SMALL)
    ek.write_result(life, file)
    before = file.read_bytes()
    edit(file, change)
    assert file.read_bytes() != before
    with pytest.raises(ek.BadFile) as caught:
        ek.read_result(file)
    assert caught.value.file == "result.zip"


def test_a_cut_file_is_refused_and_arrays_cannot_hold_objects(file):
    life = ek.live(ek.patterns.hoe(), METHODS["rolls"], rng=1, max_sessions=2, **SMALL)
    whole = ek.write_result(life, file).read_bytes()
    for size in np.linspace(0, len(whole) - 1, 40).astype(int):
        file.write_bytes(whole[:size])
        with pytest.raises(ek.BadFile):
            ek.read_result(file)
    file.write_bytes(whole)
    with zipfile.ZipFile(file) as archive:
        members = {item.filename: archive.read(item) for item in archive.infolist()}
    pickled = io.BytesIO()
    np.save(pickled, np.array([print], dtype=object), allow_pickle=True)
    pack(file, members | {"0.npy": pickled.getvalue()})
    with pytest.raises(ek.BadFile, match="allow_pickle"):
        ek.read_result(file)
    with pytest.raises(ek.BadFile):
        ek.read_result(file.with_name("missing.zip"))
    with pytest.raises(ek.BadFile):
        ek.read_result(DEMO)


def test_a_swollen_file_is_refused_before_it_is_unpacked(file, monkeypatch):
    life = ek.live(ek.patterns.hoe(), METHODS["rolls"], rng=1, max_sessions=2, **SMALL)
    ek.write_result(life, file)
    monkeypatch.setattr("edgekit.archive.archive.MAX_BYTES", file.stat().st_size + 100)
    with pytest.raises(ek.BadFile, match="unpacked"):
        ek.read_result(file)


def test_what_a_file_can_name_are_records_of_the_rooms_that_results_come_from():
    assert {"life.Life", "study.Comparison", "clinic.Forecast", "method.Method"} <= set(kinds())
    assert not any("figures" in kind.__module__ for kind in kinds().values())
    homes = [f"{kind.__module__}.{kind.__name__}" for kind in kinds().values()]
    assert len(set(homes)) == len(homes)
    seen = {}
    for path in Path(ek.__file__).parent.rglob("*.py"):
        room = path.relative_to(Path(ek.__file__).parent).parts[0].removesuffix(".py")
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.ClassDef) and f"{room}.{node.name}" in kinds():
                seen.setdefault(f"{room}.{node.name}", []).append(path.name)
    assert {name for name, files in seen.items() if len(files) > 1} == set()
