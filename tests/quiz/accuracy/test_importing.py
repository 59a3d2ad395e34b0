"""The log as a file: read as people write sheets, refused by line with a reason, written so that it reads back."""

from __future__ import annotations

import csv
import io
from datetime import date

import pytest
from hypothesis import given
from hypothesis import strategies as st

from cases.optics.lens import SphCyl
from quiz.accuracy.columns import NAMES
from quiz.accuracy.entries import AGES, EYES, Entry, tidy_remark
from quiz.accuracy.importing import MOST_ROWS, BadTable, Preview, Wishes, decode, read_table, write_table
from tests.quiz.accuracy.accuracy_logs import entry

TODAY = date(2031, 5, 28)
HEAD = "patient,eye,date,distance,retinoscopy,end-point\n"


def read(text: str, wishes: Wishes = Wishes(), log: tuple[Entry, ...] = ()) -> Preview:  # noqa: B008 frozen
    return read_table(text, wishes, today=TODAY, log=log)


def only(text: str, wishes: Wishes = Wishes()) -> Entry:  # noqa: B008 frozen
    (row,) = read(text, wishes).rows
    assert row.entry is not None, row.faults
    return row.entry


def why(text: str, wishes: Wishes = Wishes()) -> str:  # noqa: B008 frozen
    (row,) = read(text, wishes).rows
    assert row.entry is None
    return "; ".join(row.faults)


# --- "@" and "×" ------------------------------------------------------------------------------------------------


def test_at_for_an_axis_is_refused_in_a_column_with_both_readings() -> None:
    """No cylinder has power along its axis (ISO 13666), so −0.50 along 90 is −0.50 × 180."""
    found = why(HEAD + "7,right,2031-05-02,67,+1.00 −0.50 @ 90,+0.75\n")
    assert "did you mean × 90? Write +1.00 / −0.50 × 90 if 90 is the axis, +1.00 / −0.50 × 180 if" in found
    parts = "patient,eye,date,distance,ret sph,ret cyl,ret axis,subjective\n7,r,2031-05-02,67,1,-0.5,{},0.75\n"
    assert only(parts.format("x 90")).retinoscopy.equals(SphCyl(1, -0.5, 90))
    assert "“@” speaks of a meridian" in why(parts.format("@ 90"))
    assert "axes run from 1 to 180, without a sign" in why(parts.format("-90"))


# --- headings and separators -------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "text",
    [
        HEAD + "7,right,2031-05-02,67,+1.00 −0.50 × 90,+0.75\n",
        "Patient No.;Eye;Date;Working distance (cm);Ret;Subjective\n7;RE;2.5.2031;67 cm;+1,00 −0,50 x 90;+0,75 DS\n",
        "PT\tside\tvisit\tWD\tnet retinoscopy\tfinal\n7\tR\t2031/05/02\t0.67 m\t+1.00/-0.50x90\t+0.75\n",
        "id|EYE|day|distance_cm|own_retinoscopy|end point\n7|OD|2 May 2031|670 mm|1 -0.5 90|.75\n",
        "patient,eye,date,distance,ret sph,ret cyl,ret axis,subj sphere,subj cylinder,subj axis\n"
        "7,r,2031-05-02 00:00:00,67,1,-0.5,90,+0.75,0,\n",
        '"patient","eye","date","distance","retinoscopy","end_point"\r\n'
        '"7","right","May 2, 2031","67","+1,00 -0,50 90","0.75"\r\n',
        "\ufeff" + HEAD + "\n\n7,right,2031-05-02,67,+1.00 −0.50 × 90,+0.75\n\n",
    ],
)
def test_sheets_are_read_as_people_write_them(text: str) -> None:
    one = only(text)
    assert (one.patient, one.eye, one.on) == (7, "right", date(2031, 5, 2))
    assert one.distance_cm == pytest.approx(67)
    assert one.retinoscopy.equals(SphCyl(1, -0.5, 90))
    assert one.end_point.equals(SphCyl(0.75))


def test_the_preview_says_what_each_column_was_taken_for() -> None:
    found = read("Pt,Eye,Date,WD,Ret,Subj,Visual acuity\n7,R,2031-05-02,67,1,1,6/6\n")
    assert found.columns == (
        ("Pt", "patient"),
        ("Eye", "eye"),
        ("Date", "date"),
        ("WD", "distance in cm"),
        ("Ret", "retinoscopy"),
        ("Subj", "end-point"),
    )
    assert found.left_out == ("Visual acuity",)


def test_columns_that_may_tell_who_it_was_are_never_read_and_said_so() -> None:
    found = read("Name,Date of birth," + HEAD + "Example,1987-04-03,7,right,2031-05-02,67,1,1\n")
    one = Entry("right", 7, SphCyl(1), SphCyl(1), 67, date(2031, 5, 2))
    assert found.rows[0].entry == one
    assert any("identify a patient: Name, Date of birth" in note for note in found.notes)


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", "empty"),
        ("\n \n", "empty"),
        (HEAD, "no row"),
        ("eye,date,retinoscopy\nR,2031-05-02,1\n", "no heading says patient, end-point"),
        ("7,right,2031-05-02,67,1,1\n7,left,2031-05-02,67,1,1\n", "must name each column"),
        (HEAD.replace("distance", "ret") + "7,right,2031-05-02,67,1,1\n", "both mean retinoscopy"),
        ("ret sphere," + HEAD + "1,7,right,2031-05-02,67,1,1\n", "in one column and in three"),
        (HEAD + '7,right,2031-05-02,67,"1,1\n', "quote"),
        (HEAD + "7,right,2031-05-02,67,1,1\n" * (MOST_ROWS + 1), f"{MOST_ROWS} at once"),
    ],
)
def test_a_file_that_cannot_be_a_log_is_refused_with_the_way_out(text: str, words: str) -> None:
    with pytest.raises(BadTable, match=words):
        read(text)


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "cp1252"])
def test_files_are_decoded_as_spreadsheets_save_them(encoding: str) -> None:
    text = HEAD.strip() + ",remark\n7,right,2031-05-02,67,1,1,Zügig – 90°\n"
    assert only(decode(text.encode(encoding))).remark == "Zügig – 90°"


def test_a_workbook_is_no_text() -> None:
    with pytest.raises(BadTable, match="CSV"):
        decode(b"PK\x03\x04\x14\x00\x06\x00\x08\x00\x00\x00")
    with pytest.raises(BadTable, match="CSV"):
        decode(b"\xff\xfe\x00\xd8\x00")


# --- bad rows, good rows -----------------------------------------------------------------------------------------


def test_bad_rows_are_refused_by_line_and_good_ones_kept() -> None:
    text = (
        HEAD + "1,right,2031-05-02,67,1,1\n1,left,2031-05-02,67,-25,1\n"
        "\n2,both,2031-05-02,67,1,1\n2,left,2031-05-02,67,1,1\n"
    )
    found = read(text)
    assert [row.line for row in found.good] == [2, 6]
    assert [row.line for row in found.bad] == [3, 5]
    assert "−25 may be −0.25 or −25.00" in found.bad[0].faults[0]
    assert "right or left" in found.bad[1].faults[0]
    assert found.bad[1].text == "2,both,2031-05-02,67,1,1"


def test_the_line_is_that_of_the_file_though_a_cell_has_lines_of_its_own() -> None:
    text = HEAD.strip() + ',remark\n1,right,2031-05-02,67,1,1,"two\nlines"\n2,up,2031-05-02,67,1,1,\n'
    found = read(text)
    assert found.rows[0].entry is not None
    assert found.rows[0].entry.remark == "two lines"
    assert [(row.line, row.entry is None) for row in found.rows] == [(2, False), (4, True)]


@pytest.mark.parametrize(
    ("row", "words"),
    [
        ("7,,2031-05-02,67,1,1", "right or left"),
        ("7,OU,2031-05-02,67,1,1", "one eye a row"),
        (",right,2031-05-02,67,1,1", "no patient"),
        ("4418230,right,2031-05-02,67,1,1", "never a record number"),
        ("J. E.,right,2031-05-02,67,1,1", "never a record number or a name"),
        ("7,right,2031-05-02,67,,1", "retinoscopy"),
        ("7,right,2031-05-02,67,1,seen", "end-point"),
        ("7,right,2031-05-02,,1,1", "no distance"),
        ("7,right,2031-05-02,2,1,1", "2 m"),
        ("7,right,2031-05-02,67,1,00,1,00", "decimal comma"),
        ("7,right,,67,1,1", "no date"),
        ("7,right,03/04/2031,67,1,1", "2031-04-03 or 2031-03-04"),
        ("7,right,31.2.2031,67,1,1", "no such day"),
        ("7,right,2031-06-02,67,1,1", "still to come"),
        ("7,right,2.5.31,67,1,1", "year-month-day"),
        ("7,right,1961-05-02,67,1,1", "1970"),
        ("7,right,2031-05-02,67,45,1", "may be"),
    ],
)
def test_each_refusal_says_why(row: str, words: str) -> None:
    assert words in why(HEAD + row + "\n")


def test_a_missing_cell_may_be_said_once_for_all() -> None:
    wishes = Wishes(distance_cm=50, on=date(2031, 5, 1))
    one = only(HEAD + "7,right,,,1,1\n", wishes)
    assert (one.distance_cm, one.on) == (50, date(2031, 5, 1))


@pytest.mark.parametrize(("deciding", "expected"), [("13/02/2031", date(2031, 3, 4)), ("02/13/2031", date(2031, 4, 3))])
def test_a_date_that_can_be_read_in_one_way_tells_the_order_of_all(deciding: str, expected: date) -> None:
    found = read(HEAD + f"1,right,04/03/2031,67,1,1\n2,right,{deciding},67,1,1\n")
    assert found.rows[0].entry is not None
    assert found.rows[0].entry.on == expected
    assert any(deciding in note for note in found.notes)


def test_dates_that_contradict_one_another_tell_nothing() -> None:
    found = read(HEAD + "1,right,04/03/2031,67,1,1\n2,right,13/02/2031,67,1,1\n3,right,02/13/2031,67,1,1\n")
    assert [row.entry is None for row in found.rows] == [True, False, False]


def test_a_cylinder_without_a_sign_is_asked_about() -> None:
    text = "patient,eye,date,distance,ret sph,ret cyl,ret axis,end-point\n7,r,2031-05-02,67,1.00,0.50,90,+1.00\n"
    assert "write −0.50 or +0.50" in why(text)
    assert only(text, Wishes(cylinder_sign="minus")).retinoscopy == SphCyl(1, -0.5, 90)
    assert only(text, Wishes(cylinder_sign="plus")).retinoscopy == SphCyl(1, 0.5, 90)


@pytest.mark.parametrize(
    ("cells", "words"), [("1.00,-0.50,", "no axis"), (",,", "no power"), ("1.00,-0.50,0", "180"), ("x,,", "sphere")]
)
def test_a_lens_in_three_cells_must_be_whole(cells: str, words: str) -> None:
    said = why(f"patient,eye,date,distance,ret sph,ret cyl,ret axis,end-point\n7,r,2031-05-02,67,{cells},+1.00\n")
    assert words in said or "retinoscopy" in said


@pytest.mark.parametrize(
    ("cell", "wet"), [("dry", False), ("Wet", True), ("", False), ("yes", True), ("no", False), ("cycloplegic", True)]
)
def test_dry_and_wet_are_read(cell: str, wet: bool) -> None:
    assert only(f"cycloplegia,{HEAD}{cell},7,right,2031-05-02,67,1,1\n").wet is wet
    assert only(f"end-point state,{HEAD}{cell},7,right,2031-05-02,67,1,1\n").end_wet is wet


@pytest.mark.parametrize(
    ("cell", "age"),
    [("7", "under-20"), ("19", "under-20"), ("20", "20-to-39"), ("40", "40-or-over"), ("40+", "40-or-over"), ("", "")],
)
def test_of_an_age_only_the_group_is_kept(cell: str, age: str) -> None:
    assert only(f"age,{HEAD}{cell},7,right,2031-05-02,67,1,1\n").age == age


def test_words_that_mean_nothing_are_refused() -> None:
    assert "neither dry nor wet" in why(f"wet,{HEAD}perhaps,7,right,2031-05-02,67,1,1\n")
    assert "age" in why(f"age,{HEAD}old,7,right,2031-05-02,67,1,1\n")


# --- remarks, repeats, numbering ---------------------------------------------------------------------------------


def test_a_remark_that_may_tell_who_it_was_is_dropped_unless_kept_on_purpose() -> None:
    text = HEAD.strip() + ",remark\n7,right,2031-05-02,67,1,1,Mrs Example\n"
    (row,) = read(text).rows
    assert row.entry is not None
    assert (row.entry.remark, row.doubts) == ("", ("a name",))
    assert only(text, Wishes(keep_doubtful=True)).remark == "Mrs Example"


def test_what_the_log_holds_is_not_taken_twice() -> None:
    text = HEAD + "7,right,2031-05-02,67,1,1\n7,left,2031-05-02,67,1,1\n7,left,2031-05-02,67,1,1\n"
    first = read(text)
    assert [row.line for row in first.known] == [4]
    log = tuple(row.entry for row in first.good if row.entry)
    again = read(text, log=log)
    assert len(again.good) == 0
    assert len(again.known) == 3


def test_patients_of_another_log_are_numbered_after_the_highest() -> None:
    found = read(HEAD + "1,right,2031-05-02,67,1,1\n1,left,2031-05-02,67,1,1\n", Wishes(after=41))
    assert [row.entry.patient for row in found.good if row.entry] == [42, 42]
    (row,) = read(HEAD + "9999,right,2031-05-02,67,1,1\n", Wishes(after=41)).rows
    assert "past 9999" in row.faults[0]


# --- writing -----------------------------------------------------------------------------------------------------

quarters = st.integers(-80, 80).map(lambda eighths: eighths / 8)
lenses = st.one_of(
    st.builds(SphCyl, quarters),
    st.builds(SphCyl, quarters, quarters.filter(bool), st.integers(2, 360).map(lambda halves: halves / 2)),
)
entries = st.builds(
    Entry,
    eye=st.sampled_from([id_ for id_, _ in EYES]),
    patient=st.integers(1, 9999),
    retinoscopy=lenses,
    end_point=lenses,
    distance_cm=st.integers(40, 2000).map(lambda halves: halves / 2).filter(lambda cm: cm <= 300),
    on=st.dates(date(1990, 1, 1), TODAY),
    wet=st.booleans(),
    end_wet=st.booleans(),
    age=st.sampled_from([id_ for id_, _ in AGES]),
    remark=st.text(max_size=60).map(tidy_remark),
)


@given(st.lists(entries, min_size=1, max_size=8, unique_by=lambda one: (one.patient, one.eye, one.on)))
def test_what_is_written_reads_back_the_same(log: list[Entry]) -> None:
    found = read(write_table(log), Wishes(keep_doubtful=True))
    assert [row.entry for row in found.rows] == log
    assert found.left_out == ()
    assert {name for _, name in found.columns} == set(NAMES.values()) - {"retinoscopy", "end-point"}


@given(entries)
def test_no_cell_is_a_formula_to_a_spreadsheet(one: Entry) -> None:
    """OWASP, CSV injection: no cell begins with = + - @, a tab or a carriage return; plain numbers are harmless."""
    for row in csv.reader(io.StringIO(write_table([one]), newline="")):
        for cell in row:
            if cell[:1] in ("=", "+", "-", "@", "\t", "\r") and cell:
                float(cell)


@pytest.mark.parametrize("remark", ["=1+1", "+44", "-see", "@here", "'quoted", "''twice", "'=1"])
def test_a_guarded_remark_comes_back_as_it_was(remark: str) -> None:
    log = [entry(7, remark=remark)]
    assert f"'{remark}" in write_table(log)
    assert [row.entry for row in read(write_table(log), Wishes(keep_doubtful=True)).rows] == log
