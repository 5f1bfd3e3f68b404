"""Make the recording that `bellmouth demo` runs on: a practice car with an air leak.

``.venv/bin/python scripts/make_demo.py`` writes it anew; the same code gives the same file.
"""

from pathlib import Path

from bellmouth.practice.population import Case, draw
from bellmouth.practice.scenario import run

__all__ = ["main"]

FOLDER = Path(__file__).parents[1] / "src" / "bellmouth" / "data" / "demo"


def _fits_the_story(case: Case) -> bool:
    car = case.car.row(0)
    return (
        abs(car["displacement_l"] - 1.6) < 0.03
        and {"short_term_fuel_trim_bank_1", "long_term_fuel_trim_bank_1"} <= set(case.reports)
        and case.reported == "airflow+pressure"
        and car["turbo"] == 0
        and car["flex"] == 0
        and car["banks"] == 1
        and case.sizes["leak"] > 1.6
        # Trim away from the controller's limit, so that the picture shows the whole curve.
        and car["total_limit"] > 0.35
        and float(case.plan.load.max()) == float(case.plan.purge.max()) == 0
        and float(case.plan.held_rpm.max()) > 2300
        and float(case.plan.held_rpm[0]) == float(case.plan.held_rpm[-1]) == 0
    )


def main() -> None:
    """Draw leaking cars, take the first that fits the story, record it."""
    case = next(filter(_fits_the_story, draw(6000, "A", 12, causes=["leak"], plans=["held"])))
    (simulated,) = run([case])
    simulated.write_csv(FOLDER / "recording.csv")
    # For whoever writes the story.
    told = {"specified_rpm": case.car.row(0)["specified_rpm"], "sizes": case.sizes}
    print(told, simulated.typical_complaint, simulated.recording.samples_per_s)


if __name__ == "__main__":
    main()
