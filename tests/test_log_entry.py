"""What a setting sheet gives to the log: there and back, and every slip of a letter noticed.

Sources: ISO/IEC 7064:2003, MOD 1271-36: the example of its section 8.2, "ISO79" with the check
characters "3W" (as open implementations of the standard quote it), and its definition, that the
value of the whole in base 36 leaves 1 when divided by 1271, worked out by Python's own `int`.
"""

import string

import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

import edgekit as ek
from edgekit.clinic.log.entry import check_characters, entry_code, read_entry
from edgekit.clinic.sheet.content import compose

TYPED = string.digits + string.ascii_letters + string.punctuation + " äéßΑΒΩАВЖя"
ENTRIES = [
    entry_code(name, edge) + f"{width}/{width}"
    for name, edge, width in [
        ("FH-03-AS1", "used", "0.842"),
        ("007", "left", "0,79"),
        ("Αθήνα Ж/2 ä", "right", "1.5"),
    ]
]


def test_the_standards_example():
    assert check_characters("ISO79") == "3W"


@given(st.text(string.digits + string.ascii_uppercase, min_size=1, max_size=40))
def test_the_whole_leaves_one_when_divided_by_1271(text):
    assert int(text + check_characters(text), 36) % 1271 == 1


@given(st.text(st.characters(exclude_categories=("Cc", "Cf", "Cs", "Z")), min_size=1, max_size=80))
def test_an_entry_of_any_name_comes_back(name):
    said, reason, _ = read_entry(entry_code(name, "left") + "0.842/0.842")
    assert reason == ""
    assert said == (*entry_code(name, "left").rsplit("/", 3)[:2], "0.842")


@pytest.mark.parametrize("entry", ENTRIES)
def test_every_single_letter_typed_wrong_is_noticed(entry):
    slips = 0
    for at, right in enumerate(entry):
        for wrong in set(TYPED) - {right}:
            said, reason, suggestion = read_entry(entry[:at] + wrong + entry[at + 1 :])
            assert said is None, (at, wrong)
            assert reason
            assert suggestion
            slips += 1
    assert slips >= 90 * len(entry)


@pytest.mark.parametrize("entry", ENTRIES)
def test_letters_exchanged_left_out_or_typed_twice_are_noticed(entry):
    """Exchanges cannot pass, by the same sum; of the others one in 1,271 may, and none does."""
    for at in range(len(entry) - 1):
        swapped = entry[:at] + entry[at + 1] + entry[at] + entry[at + 2 :]
        assert swapped == entry or read_entry(swapped)[0] is None
    for at in range(len(entry)):
        assert read_entry(entry[:at] + entry[at + 1 :])[0] is None
        assert read_entry(entry[: at + 1] + entry[at:])[0] is None


def read(**columns):
    rows = {"date": ["2026-03-02"], "event": ["measured"]} | columns
    return ek.read_log(pd.DataFrame(rows))


def test_a_sheets_codes_and_widths_written_on_it_come_back_from_the_log(tmp_path):
    blades = {"FH-03-UC": ek.patterns.universal_curette(), "FH 7, a": ek.patterns.hoe()}
    sheet = compose(ek.plan_bench(blades), "Tray")
    widths = [f"0.8{n}2" for n in range(len(sheet.blocks))]
    lines = "".join(
        f'"{block.entry}{width}/{width}",2026-03-02,measured\n'
        for block, width in zip(sheet.blocks, widths, strict=True)
    )
    file = tmp_path / "log.csv"
    file.write_text(f"sheet_entry,date,event\n{lines}", encoding="utf-8")
    log = ek.read_log(file, strict=True)
    assert log.rows["instrument"].tolist() == [block.instrument for block in sheet.blocks]
    assert log.rows["edge"].tolist() == [block.edge for block in sheet.blocks]
    assert log.rows["width_mm"].tolist() == [float(width) for width in widths]
    assert log.rows["sheet_entry"].str.count("/").tolist() == [4] * len(widths)
    assert len(log.flags) == 0


def test_a_refused_entry_is_one_refusal_with_its_line_as_it_was():
    log = read(sheet_entry=["FH-03-AS1/used/HH/0.842/0.842"])
    assert log.rejected["column"].tolist() == ["sheet_entry"]
    assert "do not fit FH-03-AS1/used" in log.rejected["reason"][0]
    assert log.rejected_lines["text"].tolist() == [
        "2026-03-02 | measured | FH-03-AS1/used/HH/0.842/0.842"
    ]


def test_rows_with_and_without_an_entry_stand_side_by_side():
    log = ek.read_log(
        pd.DataFrame(
            {
                "instrument": ["", "FH-03-AS1", "FH-03-AS1", "FH-03-AS2"],
                "date": "2026-03-02",
                "event": ["measured", "used", "measured", "measured"],
                "width_mm": ["", "", "0.842", ""],
                "sheet_entry": [ENTRIES[0], "", ENTRIES[0], ENTRIES[0]],
            }
        )
    )
    assert log.rows["instrument"].tolist() == ["FH-03-AS1"] * 3
    assert log.rows["width_mm"].tolist()[::2] == [0.842, 0.842]
    assert log.rejected["line"].tolist() == [4]
    assert "the entry says FH-03-AS1, the column instrument FH-03-AS2" in log.rejected["reason"][0]


def test_widths_of_entries_are_millimetres_whatever_the_header_says():
    log = read(sheet_entry=[ENTRIES[0]], width_um=[""])
    assert log.rows["width_mm"].tolist() == pytest.approx([0.842])


@pytest.mark.parametrize("width", ["", "842", "0.842 mm", "thin", "0.8.4"])
def test_a_width_that_is_none_is_refused_by_its_own_reason(width):
    log = read(sheet_entry=[f"{entry_code('FH-03-AS1', 'used')}{width}/{width}"])
    assert len(log.rows) == 0
    assert log.rejected["reason"][0]
    assert len(log.rejected) == 1


NAMES = [f"FH-{n:02d}-{kind}" for n in range(40) for kind in ("UC", "AS1", "SS", "Ж")]


def test_no_two_letters_of_a_printed_check_look_alike():
    codes = {name: entry_code(name, "left").split("/")[-2] for name in NAMES}
    letters = set("".join(codes.values()))
    assert all(len(code) == 3 for code in codes.values())
    for alike in ("0OQD", "1IL", "2Z", "5S", "8B", "UV"):
        assert len(letters & set(alike)) == 0, alike
    assert len(set(codes.values())) > 0.9 * len(codes)  # 1,271 of them


@pytest.mark.parametrize(("name", "edge"), [("FH-03-AS1", "used"), ("Αθήνα Ж/2 ä", "right")])
def test_a_code_of_before_with_the_standards_two_characters_is_still_read(name, edge):
    text = f"{name}/{edge}"
    spelled = "".join(
        "".join(str(d) if d < 10 else chr(55 + d) for d in digits)
        for letter in text
        for digits in [[ord(letter) // 36**k % 36 for k in (3, 2, 1, 0)]]
    )
    old = f"{text}/{check_characters(spelled)}/"
    assert old != entry_code(name, edge)
    assert read_entry(f"{old}0.842/0.842")[0] == (name, edge, "0.842")
    assert read_entry(f"{old[:-2]}{'A' if old[-2] != 'A' else 'B'}/0.842/0.842")[0] is None
