"""Text files as programs and people write them."""

from datetime import date

import pytest

from insights.errors import HeadingsError, SourceError
from insights.history.intake import read_history

TODAY = date(2026, 6, 30)
HEAD = "job_id,received,model,notes\n"


def read(data, name="jobs.csv"):
    data = data.encode() if isinstance(data, str) else data
    return read_history((name, data), today=TODAY)


@pytest.mark.parametrize("delimiter", [",", ";", "\t", "|"])
@pytest.mark.parametrize("ending", ["\n", "\r\n", "\r"])
def test_separator_and_line_ending_are_found(delimiter, ending):
    rows = ["job_id,received,model,notes", "1,2026-03-02,grill,hot", "2,2026-03-03,boiler,"]
    text = ending.join(row.replace(",", delimiter) for row in rows)
    jobs = read(text).jobs
    assert list(jobs["job_id"]) == ["1", "2"]
    assert jobs["notes"][0] == "hot"


def test_a_comma_in_text_does_not_make_it_the_separator():
    text = "job_id;received;model;notes\n1;2026-03-02;grill;hot, then cold, then hot\n"
    assert read(text).jobs["notes"][0] == "hot, then cold, then hot"


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "cp1252", "utf-16"])
def test_letters_survive_every_encoding_met_in_practice(encoding):
    data = (HEAD + "1,2026-03-02,Kännchen,naïve – “hot”\n").encode(encoding)
    history = read(data)
    assert history.jobs["model"][0] == "Kännchen"
    assert history.jobs["notes"][0] == "naïve – “hot”"
    assert ("encoding" in {note.code for note in history.notes}) == (encoding == "cp1252")


def test_quoted_cells_keep_separators_quotation_marks_and_lines():
    history = read(HEAD + '1,2026-03-02,grill,"hot, ""very""\nhot"\n')
    assert history.jobs["notes"][0] == 'hot, "very"\nhot'


@pytest.mark.parametrize(
    "title", ["Repairs, harbour lane", "Repairs 2026;;;", '"Repairs\nand more";;']
)
def test_a_title_above_the_headings_is_left_aside_and_told(title):
    rows = "job_id;received;model;notes\n1;2026-03-02;grill;\n2;soon;grill;\n"
    history = read(f"{title}\n\n{rows}")
    assert list(history.jobs["job_id"]) == ["1"]
    assert history.refused["row"].tolist() == [title.count("\n") + 5]
    (told,) = [note.text for note in history.notes if note.code == "titles"]
    assert told.startswith("Left aside above the heading row: Repairs")


def test_a_heading_row_is_never_taken_for_a_title():
    assert not [note for note in read(HEAD + "1,2026-03-02,grill,\n").notes]
    with pytest.raises(HeadingsError, match="The headings are: job_id"):
        read("job_id\n1\n2\n")


def test_a_separator_line_on_top_is_obeyed_and_counted():
    history = read("sep=;\njob_id;received;model\n1;2026-03-02;a,b\n2;;grill\n")
    assert history.jobs["model"][0] == "a,b"
    assert list(history.refused["row"]) == [4]


def test_rows_with_empty_cells_over_load_and_others_too_long_or_short_are_refused():
    history = read(
        HEAD + "1,2026-03-02,grill,hot,,\n2,2026-03-02,grill,hot,over\n"
        "3,2026-03-02\n4,2026-03-02,grill,cold\n"
    )
    assert list(history.jobs["job_id"]) == ["1", "4"]
    assert list(history.refused["row"]) == [3, 4]
    assert history.refused["problem"].tolist() == [
        "the row has more cells than the 4 headings",
        "the row has fewer cells than the 4 headings",
    ]
    assert history.refused_rows["notes"].tolist() == ["hot,over", None]


def test_an_open_quotation_mark_cannot_swallow_rows_unseen():
    history = read(HEAD + '1,2026-03-02,grill,"hot\n2,2026-03-02,grill,x\n3,2026-03-02,grill,y\n')
    assert len(history.jobs) == 0
    assert "quotation mark is not closed" in history.refused["problem"][0]
    assert "3,2026-03-02,grill,y" in history.refused_rows["notes"][0]


def test_a_row_longer_than_a_block_is_still_a_row():
    history = read(HEAD + "1,2026-03-02,grill," + "x" * (1 << 25) + "\n2,2026-03-02,grill,y\n")
    assert list(history.jobs["job_id"]) == ["2"]
    assert history.refused["problem"][0] == "the cell holds more than 32767 characters"


def test_a_heading_may_hold_two_lines():
    assert len(read('job_id,"received",model,"bench\nremarks"\n1,2026-03-02,grill,x\n').jobs) == 1


@pytest.mark.parametrize(
    ("data", "told"),
    [
        (b"", "is empty"),
        (b"\n \n\n", "is empty"),
        (b"\xef\xbb\xbf", "is empty"),
        (HEAD.encode(), "no jobs below"),
        (HEAD.strip().encode(), "no jobs below"),
        ((HEAD + "\n,,,\n\n").encode(), "no jobs below"),
        (b"\x89PNG\r\n\x1a\n" + bytes(50), "is a picture"),
        (b"\xff\xd8\xff\xe0" + bytes(50), "is a picture"),
        (b"BM" + bytes(range(256)), "is not text"),
        (b"job_id\x01\x02,received\n" * 9, "is not text"),
        (b"%PDF-1.7\n", "is a PDF document"),
        (b"\xd0\xcf\x11\xe0" + bytes(50), "an old .xls workbook"),
        (b"SQLite format 3\x00" + bytes(50), "is a database"),
        (b"job_id,received,model\n1,2026-03-02,a\x81\xff\n", "neither UTF-8 nor Windows-1252"),
        (b'job_id,"received,model\n1,2\n', "quotation mark"),
    ],
)
def test_what_is_no_table_is_one_clear_error(data, told):
    with pytest.raises(SourceError, match=told) as caught:
        read(data)
    assert str(caught.value).startswith("jobs.csv ")
    assert "\n" not in str(caught.value)


def test_a_stray_control_character_does_not_make_text_a_picture():
    assert (
        read(HEAD + "1,2026-03-02,grill,hot\x0bthen \x01cold" + " " * 90).jobs["job_id"][0] == "1"
    )


@pytest.mark.parametrize("name", ["not_there.csv", "", "a\0b.csv"])
def test_a_path_that_cannot_be_opened_is_one_clear_error(tmp_path, name):
    with pytest.raises(SourceError):
        read_history(f"{tmp_path}/{name}")
