"""A table of cars that is sent is taken as the command takes it."""

from pathlib import Path

from bellmouth.pages.site.surveyed import of_table


def test_names_with_spaces_and_text_far_down(tmp_path: Path) -> None:
    rows = [f" van{number} ,2.0,airflow,700" for number in range(150)]
    rows.append("last,2.0,airflow,unknown")
    table = tmp_path / "cars.csv"
    table.write_text("\n".join(["car,displacement_l,metering,idle_rpm", *rows]) + "\n", "utf-8")
    sent = tmp_path / "recording.csv"
    sent.write_text("time [s],engine_speed [rpm]\n0,700\n", "utf-8")
    found = of_table(table, [("van7_monday.csv", sent)], tmp_path)
    assert [one.name for one in found if one.recordings] == ["van7"]
    assert len(found) == 151
