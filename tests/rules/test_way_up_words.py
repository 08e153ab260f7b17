"""What is said of the ways to stand a job."""

import numpy as np

from addon.rules.inspect.way_up import Way, WayUp
from addon.verbs.way_up_words import recommendation, way_up_lines, way_up_part


def way_up(name, islands=0, refusal="", gap_mm=0.25):
    return WayUp(Way(name, np.eye(3)), islands, 123.4, 45.67, 1827, 300.2, gap_mm, (60.0, 50.0), refusal)


def test_the_table_is_aligned_and_fits_a_terminal() -> None:
    found = [way_up("tipped 45 deg to the front", 4), way_up("as it stands", 60, "too large", None)]
    lines = way_up_lines(found)
    longest = way_up_lines([way_up("tipped 45 deg to the front", 4000), way_up("as it stands", 6000)])
    assert all(len(line) < 110 for line in (*lines, *longest))
    best, stands = (next(line for line in lines if line.strip().startswith(one.way.name)) for one in found)
    assert lines.index(best) < lines.index(stands)
    assert best.index("123") == stands.index("123")
    assert best.index("45.7") == stands.index("45.7")
    assert best.rstrip().endswith("yes")
    assert stands.rstrip().endswith("too large")
    assert "0.25" in best
    assert " - " in stands
    assert "coarse layers" in " ".join(lines)
    assert "curing light" in " ".join(lines)


def test_the_best_way_is_compared_with_how_the_job_stands() -> None:
    leaning, stands = way_up("tipped 30 deg to the front", 4), way_up("as it stands", 60)
    said = recommendation([leaning, stands])
    assert leaning.way.name in said
    assert "4 starts in mid-air instead of 60" in said
    large = way_up("as it stands", 0, "too large")
    assert "as it stands the job does not print: too large" in recommendation([leaning, large])
    assert recommendation([stands, leaning]) == "best: as it stands"
    assert recommendation([leaning]) == f"best: {leaning.way.name}"
    assert "none" in recommendation([way_up("as it stands", refusal="a gap closes")])


def test_the_report_has_units_in_its_keys() -> None:
    (told,) = way_up_part([way_up("as it stands", 3, gap_mm=None)])["ways_up"]
    assert told["islands"] == 3
    assert told["gap_mm"] is None
    assert told["refusal"] is None
    assert (told["underside_mm2"], told["height_mm"], told["largest_area_mm2"]) == (123.4, 45.67, 300.2)
    assert told["size_mm"] == (60.0, 50.0)
    assert np.array_equal(told["rotation"], np.eye(3))
