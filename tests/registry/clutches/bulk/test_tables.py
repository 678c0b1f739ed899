"""Rows of tables, and how broken ones are got over."""

from __future__ import annotations

import csv
import io
import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from registry.clutches.bulk.lines import raw_lines
from registry.clutches.bulk.tables import header_of, rows_of
from registry.clutches.choices import MAX_LINE_BYTES
from registry.errors import RegistryError, UnreadableTableError


def rows(content: bytes, separator: str = ","):
    return list(rows_of(raw_lines(io.BytesIO(content)), separator))


def cells(content: bytes, separator: str = ","):
    found = rows(content, separator)
    assert all(one.refusal is None for one in found)
    return [(one.number, *one.cells) for one in found]


def test_rows_of__counts_lines_inside_cells():
    table = b'\xef\xbb\xbfa,"b\r\nb"\r\n\r\n,\r\n"c ""c""",d'
    assert cells(table) == [(1, "a", "b\r\nb"), (5, 'c "c"', "d")]


def test_rows_of__takes_a_quote_within_an_unquoted_cell_as_it_is():
    assert cells(b'5" box;b\n', ";") == [(1, '5" box', "b")]


@pytest.mark.parametrize(
    ("broken", "said"),
    [
        (b'a,"b', "A quote that opens a cell in line 2 is never closed."),
        (b'a,"b"c', "A quoted cell goes on behind its closing quote."),
        (b"a,\xff", "Line 2 is not UTF-8: byte 3 begins no character. Save the table as 'CSV"),
        (b"a," + b"b" * MAX_LINE_BYTES, f"more than the {MAX_LINE_BYTES} bytes"),
        (b"a,b\rc,d", "A line ends in a carriage return alone."),
    ],
)
def test_rows_of__goes_on_behind_a_broken_row(broken, said):
    first, second, *others = rows(b"1,1\n" + broken + b"\n3,3\n4,4\n")
    assert (first.number, first.cells) == (1, ("1", "1"))
    assert second.number == 2
    assert said in second.refusal.message
    assert [(one.number, one.cells) for one in others] == [(3, ("3", "3")), (4, ("4", "4"))]


def test_rows_of__a_quote_without_end_costs_one_row_of_a_long_table():
    n_rows = 3 * MAX_LINE_BYTES // 4
    table = b'1,"1\n' + b"2,2\n" * n_rows
    first, *others = rows(table)
    assert f"not closed within the {MAX_LINE_BYTES} bytes" in first.refusal.message
    assert len(others) == n_rows
    assert [one.number for one in others] == list(range(2, n_rows + 2))


def test_rows_of__a_line_that_is_no_text_inside_a_cell_refuses_its_row():
    first, second, third = rows(b'a,"b\n\xff"\nc,d\n')
    assert "Line 2 is not UTF-8: byte 1" in first.refusal.message
    # The rest of the broken cell is read for a row of its own, and refused as well.
    assert (second.number, third.number, third.cells) == (2, 3, ("c", "d"))
    assert second.refusal is not None


ROWS = st.lists(
    st.lists(st.text(alphabet='ab;,\t" \n', max_size=6), min_size=2, max_size=4),
    min_size=1,
    max_size=5,
).filter(lambda table: all(any(map(str.strip, row)) for row in table))


@given(table=ROWS, separator=st.sampled_from(",;\t"), end=st.sampled_from(["\n", "\r\n"]))
def test_rows_of__gives_back_what_python_wrote(table, separator, end):
    """Python's csv module writes; whatever the cells hold, they come back as they were."""
    written = io.StringIO()
    csv.writer(written, delimiter=separator, lineterminator=end).writerows(table)
    found = cells(written.getvalue().encode(), separator)
    assert [list(one[1:]) for one in found] == table
    starts = [1]
    for row in table:
        starts.append(starts[-1] + 1 + sum(len(re.findall("\n", one)) for one in row))
    assert [one[0] for one in found] == starts[:-1]


@pytest.mark.parametrize("separator", [",", ";", "\t"])
def test_header_of__finds_the_separator(separator):
    names = ["species", "season", "Sire, or male", "dam; mother", "hatchlings"]
    written = io.StringIO()
    csv.writer(written, delimiter=separator).writerow([*names, "", ""])
    header = header_of(lambda: raw_lines(io.BytesIO(b"\n" + written.getvalue().encode())))
    assert (header.number, list(header.names), header.separator) == (2, names, separator)


def test_header_of__nothing_and_of_a_broken_one():
    assert header_of(lambda: raw_lines(io.BytesIO(b"\n \n"))) is None
    with pytest.raises(UnreadableTableError, match="carriage return"):
        header_of(lambda: raw_lines(io.BytesIO(b"species,season\rx,1\r")))
    with pytest.raises(RegistryError, match="Line 1 is not UTF-8: byte 1"):
        header_of(lambda: raw_lines(io.BytesIO("species".encode("utf-16"))))
