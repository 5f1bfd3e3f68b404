"""A family file is read back as written, moves a finding, and cannot force a false one."""

import json
import tomllib
from dataclasses import replace
from pathlib import Path

import jsonschema
import numpy as np
import pytest

from bellmouth.car.description import Known
from bellmouth.errors import FindingError
from bellmouth.finding.case import solve
from bellmouth.finding.family import Family, Growth, read_family
from bellmouth.finding.find import find
from bellmouth.finding.habit import Habit
from bellmouth.finding.nuisance import unknowns
from bellmouth.finding.priors import cause_weights, load_priors
from bellmouth.finding.sensitivity import unknown_jacobian
from tests.finding.garage import car, stretches
from tests.finding.worked import healthy

ROOT = Path(__file__).parents[2]


def family(**other: object) -> Family:
    """What the cars of the garage have in common, by how they are made."""
    told = {
        "fill_level": (-0.51, 0.05), "slope": (1.23, 0.1), "bypass": (0.9, 0.2),
        "opening": (0.9, 0.3), "closed": (12.0, 0.6), "fuel_level": (0.0, 0.012),
    }  # fmt: skip
    mean, sd = np.array(list(told.values())).T
    correlation = np.eye(len(told))
    correlation[1, 2] = correlation[2, 1] = -0.5
    made = Family(
        name="two litre", made="2026-01-02", software="0.1.0", cars=40, recordings=44,
        like_the_rest=0.98, displacement_l=2.0, metering="airflow", coordinates=tuple(told),
        mean=mean, sd=sd, correlation=correlation, shares=cause_weights("unknown"),
        habit=Habit(Known(705.0, 6.0), None, None), growth=Growth((40e3, 70e3), 0.2, 12),
    )  # fmt: skip
    return replace(made, **other)  # type: ignore[arg-type]


def test_a_family_file_reads_back_as_written_and_fits_its_schema(tmp_path: Path) -> None:
    path = tmp_path / "two.family.toml"
    written = family()
    written.write(path)
    read = read_family(path)
    assert read.coordinates == written.coordinates
    np.testing.assert_allclose(read.mean, written.mean, rtol=1e-5)
    np.testing.assert_allclose(read.correlation, written.correlation, atol=1e-4)
    assert (read.habit, read.growth, read.cars) == (written.habit, written.growth, 40)
    schema = json.loads((ROOT / "docs" / "family.schema.json").read_text("utf-8"))
    jsonschema.validate(tomllib.loads(path.read_text("utf-8")), schema)
    jsonschema.validate(written.document(), schema)


@pytest.mark.parametrize(
    ("change", "sentence"),
    [
        (("format = 1", "format = 7"), "a family file of format 7, and this Bellmouth reads"),
        (("format = 1\n", ""), "no family file. Make one with bellmouth family learn"),
        (("sd = 0.6", "sd = 0.0"), "every sd above 0"),
        (('metering = "airflow"', 'metering = "guess"'), "not airflow or pressure"),
        (("cars = 40\n", ""), "not a whole family file"),
        (("format = 1", "format = 1\nsurprise = 2"), "unknown key surprise"),
        (("format = 1", "format = ="), "not valid TOML"),
        (("[coordinates]", "[coordinates]\nwheels = { mean = 4, sd = 1 }"), "no coordinate"),
    ],
)
def test_a_damaged_family_file_is_one_sentence(
    tmp_path: Path, change: tuple[str, str], sentence: str
) -> None:
    path = tmp_path / "two.family.toml"
    family().write(path)
    text = path.read_text("utf-8")
    assert change[0] in text
    path.write_text(text.replace(*change, 1), "utf-8")
    with pytest.raises(FindingError, match=sentence):
        read_family(path)


def test_a_car_of_another_engine_is_refused() -> None:
    with pytest.raises(FindingError, match="has 3 L, this car 2 L"):
        solve(stretches(), (), car(), family=family(displacement_l=3.0))
    with pytest.raises(FindingError, match="meters its air by airflow, this car by pressure"):
        solve(stretches(metering="pressure"), (), car("pressure"), family=family())


def test_the_slopes_stay_right_under_a_family() -> None:
    case = solve(stretches(deposit_mm2=5.0), (), car(), family=family())
    model, u = case.model, case.model.unknowns
    assert u.turn is not None
    assert "closed" in model.channels
    bends = (float(u.sd[u.index("meter_bend")]), u.contaminated_bend_sd)
    effects = case.hypotheses.effects(np.arange(case.hypotheses.count), case.posterior.sizes, bends)
    where = case.posterior.coordinates
    exact = unknown_jacobian(model, where, effects)
    for k in range(u.size):
        step = np.zeros_like(where)
        step[:, k] = 1e-5
        slope = (
            model.residuals(where + step, effects) - model.residuals(where - step, effects)
        ) / 2e-5
        np.testing.assert_allclose(exact[:, :, k], slope, atol=2e-5)


def test_values_have_the_family_s_spread() -> None:
    case = solve(stretches(), (), car(), family=family())
    base = unknowns(case.observations, car(), load_priors())
    u = case.model.unknowns
    rows = np.stack([u.row("slope"), u.row("bypass")])
    np.testing.assert_allclose(rows @ rows.T, [[0.01, -0.01], [-0.01, 0.04]], atol=1e-9)
    assert u.row("fill_rise") @ u.row("fill_rise") == pytest.approx(
        base.sd[base.index("fill_rise")] ** 2
    )


def test_the_family_tells_a_meter_from_a_fuel_fault() -> None:
    """Without a pressure sensor only the plate speaks, and only a family knows the plate."""
    seen = stretches(meter=0.8, manifold=False)

    def odds(family: Family | None = None) -> float:
        case = solve(seen, (), car(), family=family)
        log = dict(zip(case.hypotheses.names, case.posterior.log_evidence, strict=True))
        return float(log["meter_low"] - log["fuel_low"])

    assert odds(family=family()) > odds() + 1.0


def test_a_wrong_family_is_said_and_set_aside() -> None:
    """A healthy car, and a family whose cars idle with the plate 9 % further open and breathe
    half as much again: the broad prior takes over, and no fault is made of it."""
    own = family()
    mean = own.mean.copy()
    mean[own.coordinates.index("closed")] += 9.0
    mean[own.coordinates.index("slope")] += 1.0
    wrong = replace(own, mean=mean)
    right = solve(stretches(), (), car(), family=own)
    case = solve(stretches(), (), car(), family=wrong)
    assert right.family is not None
    assert case.family is not None
    assert right.family.belongs > 0.9
    assert case.family.belongs < 0.2
    assert "do not look like a car of the family two litre (40 cars)" in case.family.notes[0]
    best = case.hypotheses.names[int(np.argmax(case.posterior.log_evidence))]
    alone = solve(stretches(), (), car())
    log = dict(zip(case.hypotheses.names, case.posterior.log_evidence, strict=True))
    before = dict(zip(alone.hypotheses.names, alone.posterior.log_evidence, strict=True))
    for fault in ("leak", "meter_low", "fuel_low", "fuel_high"):
        made = (log[fault] - log["healthy"]) - (before[fault] - before["healthy"])
        assert made < 2.5, (fault, best)


def test_shares_move_the_weights_part_of_the_way() -> None:
    usual = cause_weights("unknown")
    dirty = {**usual, "deposit": 0.4, "healthy": usual["healthy"] - 0.3 + 0.1}
    moved = family(shares=dirty).weights(usual)
    assert usual["deposit"] < moved["deposit"] < 0.4
    assert sum(moved.values()) == pytest.approx(1.0)
    assert family().weights(usual) == pytest.approx(usual)


def test_a_cause_that_the_shares_leave_out_keeps_its_weight() -> None:
    usual = cause_weights("unknown")
    dirty = family(shares={"deposit": 8.0 * usual["deposit"]}).weights(usual)
    doubled = {
        cause: weight * (2.0 if cause == "deposit" else 1.0) for cause, weight in usual.items()
    }
    assert dirty == pytest.approx({c: w / sum(doubled.values()) for c, w in doubled.items()})
    assert family(shares={**usual, "leak": 0.0}).weights(usual)["leak"] == 0.0


def test_a_finding_says_that_a_family_was_used(tmp_path: Path) -> None:
    path = tmp_path / "two.family.toml"
    family().write(path)
    finding = find(healthy("x.csv", seed=21), car(), family=path)
    assert finding.family is not None
    assert (finding.family.cars, finding.family.recordings) == (40, 44)
    assert any("family two litre" in warning for warning in finding.warnings)
    assert find(healthy("x.csv", seed=21), car()).family is None
