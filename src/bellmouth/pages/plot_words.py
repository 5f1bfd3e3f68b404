"""Fixed words of the pictures that answer, for the catalogue."""

__all__ = ["PLOT_TEXTS", "PLOT_WORDS"]

#: What the page's script says, by the name that it calls it by.
PLOT_WORDS = {
    "hint": "Point at the picture, or use the arrow keys in it: it says what stands there.",
    "closer": "Closer",
    "further": "Further away",
    "whole": "The whole",
    "lines": "Lines of this picture: each can be hidden",
    "to": "{low} to {high}",
}
#: What stands in the pictures themselves.
PLOT_TEXTS = (
    "Download the numbers (CSV)", "Tell what it showed", "Line", "low", "high",
    "Point", "if {cause}",
    "read here (90 %)", "Airflow into the engine",
    "Total fuel trim", "Total trim against airflow", "meter", "speed and pressure (90 %)",
    "throttle opening (90 %)", "found, all together", "Operating point", "Airflow",
    "Airflow by one route", "Airflow by two routes", "Airflow by three routes", "before", "after",
    "Throttle against airflow", "Throttle position",
    "nine in ten", "one in two", "forecast", "worth a look", "inspect",
    "{low} to {high} {unit}, nine in ten", "findings (90 %)", "cleaned", "Distance",
    "Deposit", "What grew, and where it is going", "idle", "held", "drive", "engine off",
)  # fmt: skip
