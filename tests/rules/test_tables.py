"""Checked tables: what is wrong is named with its key and what works."""

from pathlib import Path

import pytest

from addon.rules.base.errors import BadInput
from addon.rules.base.tables import Table, read_toml


def table(**values: object) -> Table:
    return Table(values, "job.toml: chain", known=("wire_mm", "links", "family", "name", "upper"))


def test_unknown_key_is_named_with_the_nearest_known_one() -> None:
    with pytest.raises(BadInput, match=r"job.toml: chain.wire_nm: unknown key; did you mean 'wire_mm'"):
        table(wire_nm=2.0)


@pytest.mark.parametrize("value", [True, "2.2", [2.2], {"a": 1}])
def test_a_number_must_be_a_number(value: object) -> None:
    with pytest.raises(BadInput, match=r"chain.wire_mm: must be a number"):
        table(wire_mm=value).number("wire_mm")


@pytest.mark.parametrize("value", [0, -1, 101, float("nan"), float("inf")])
def test_a_number_out_of_range_names_the_range(value: float) -> None:
    with pytest.raises(BadInput, match=r"above 0 and up to 100 mm"):
        table(wire_mm=value).number("wire_mm", above=0.0, most=100.0, unit="mm")


def test_range_ends_are_inside_or_outside_as_said() -> None:
    assert table(wire_mm=100).number("wire_mm", above=0.0, most=100.0) == 100.0
    assert table(wire_mm=0).number("wire_mm", least=0.0, most=100.0) == 0.0


def test_missing_key_without_default_is_said() -> None:
    with pytest.raises(BadInput, match=r"chain.wire_mm: missing"):
        table().number("wire_mm", above=0.0)
    assert table().number("wire_mm", 2.0) == 2.0
    assert table().optional_number("wire_mm") is None


@pytest.mark.parametrize("value", [1, 10, 2.0, True, "3"])
def test_whole_numbers(value: object) -> None:
    with pytest.raises(BadInput, match="from 2 to 9"):
        table(links=value).whole("links", least=2, most=9)


def test_choice_suggests() -> None:
    with pytest.raises(BadInput, match="did you mean 'curb'"):
        table(family="crub").choice("family", ("curb", "trace"))
    assert table(family="curb").choice("family", ("curb", "trace")) == "curb"


def test_text_and_flag_types() -> None:
    with pytest.raises(BadInput, match="text in quotes, is the number 3"):
        table(name=3).text("name")
    with pytest.raises(BadInput, match="true or false"):
        table(upper="yes").flag("upper", False)


def test_a_table_that_is_no_table() -> None:
    with pytest.raises(BadInput, match="must be a table, is the number 5"):
        Table(5, "job.toml: chain", known=())


@pytest.mark.parametrize(
    ("content", "words"),
    [
        (b"a = [", "not valid TOML"),
        (b"\xff\xfe", "not UTF-8"),
        (b"a = 1\na = 2\n", "not valid TOML"),
        (b"a = " + b"[" * 4000, "nested too deeply"),
        (b"a = " + b"9" * 5000, "not valid TOML"),
    ],
)
def test_broken_files_are_one_line(tmp_path: Path, content: bytes, words: str) -> None:
    file = tmp_path / "job.toml"
    file.write_bytes(content)
    with pytest.raises(BadInput, match=words) as caught:
        read_toml(file)
    assert "\n" not in str(caught.value)
    assert "job.toml" in str(caught.value)


def test_missing_file_folder_and_giant(tmp_path: Path) -> None:
    with pytest.raises(BadInput, match="no such file"):
        read_toml(tmp_path / "none.toml")
    with pytest.raises(BadInput, match="is a folder"):
        read_toml(tmp_path)
    big = tmp_path / "big.toml"
    big.write_bytes(b"#" * 5_000_000)
    with pytest.raises(BadInput, match="larger than"):
        read_toml(big)


def test_a_byte_order_mark_is_no_error(tmp_path: Path) -> None:
    file = tmp_path / "job.toml"
    file.write_bytes(b"\xef\xbb\xbfschema = 1\n")
    assert read_toml(file) == {"schema": 1}
