from benchmarks.scale.plot import read_table, write_plot

TABLE = """| photos of each vessel | core-seconds | ratio to the first | kept |
| --- | --- | --- | --- |
| 3 | 0.82 | 1.00 | 0.30 |
| 60 | 0.95 | 1.16 | 3.44 |
"""


def test_a_printed_table_is_read_and_drawn_the_same_each_time(tmp_path):
    rows = read_table(TABLE)
    assert rows == [(3, 1.0), (60, 1.16)]
    for name in ("one.svg", "other.svg"):
        write_plot({"now": rows}, tmp_path / name)
    drawn = (tmp_path / "one.svg").read_text()
    assert drawn == (tmp_path / "other.svg").read_text()
    assert "cost of one more" in drawn
