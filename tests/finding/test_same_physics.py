"""What decides is what the physics room says, which outside sources hold: the model writes its laws
as logarithms, for a batch of hypotheses at once, and here each is held against the plain function,
for every cause and pair and for cars as they come."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray

from bellmouth.car.description import Metering
from bellmouth.finding.case import Case, solve
from bellmouth.finding.effects import Effects
from bellmouth.finding.model import NEARLY_ONE, State
from bellmouth.finding.nuisance import Unknowns, Values
from bellmouth.finding.plate_law import plate_parts
from bellmouth.finding.priors import load_priors
from bellmouth.physics import cylinder, fuel, orifice, throttle
from bellmouth.recording.stretch import Stretch
from tests.finding.garage import car, reading, stretches

Floats = NDArray[np.float64]


def with_all(made: tuple[Stretch, ...], **values: float) -> tuple[Stretch, ...]:
    more = {name: reading(value, 0.3) for name, value in values.items()}
    return tuple(replace(one, readings={**one.readings, **more}) for one in made)


CARS = {
    "airflow": (stretches(), "airflow"),
    "airflow alone": (stretches(manifold=False), "airflow"),
    "pressure": (stretches(metering="pressure"), "pressure"),
    "boosted": (with_all(stretches(), boost_pressure=104.0), "airflow"),
    "two banks": (with_all(stretches(), log_total_trim_bank_2=0.02), "airflow"),
    "two banks, pressure": (
        with_all(stretches(metering="pressure"), log_total_trim_bank_2=0.02),
        "pressure",
    ),
}


class Met:
    """A kind of car under every hypothesis at once, each with unknowns of its own."""

    def __init__(self, made: tuple[Stretch, ...], metering: Metering) -> None:
        self.case: Case = solve(made, [], car(metering))
        self.model, self.o = self.case.model, self.case.observations
        hypotheses, u = self.case.hypotheses, self.model.unknowns
        rng = np.random.default_rng(11)
        count = hypotheses.count
        share = rng.uniform(0.1, 0.9, (count, 2))
        sizes = hypotheses.low + share * (hypotheses.high - hypotheses.low)
        bends = (self.model.healthy_bend_sd, u.contaminated_bend_sd)
        self.effects: Effects = hypotheses.effects(np.arange(count), sizes, bends)
        coordinates = rng.normal(size=(count, u.size))
        # A meter's bend depends on flow: a factor that the plain functions have no word for.
        coordinates[:, u.index("meter_bend")] = 0.0
        self.state: State = self.model.states(coordinates, self.effects)

    def get(self, name: str) -> Floats:
        """An unknown of the car, or of its only recording, (hypotheses, 1)."""
        own = ("ambient", "heating", "fuel_fill", "meter_day")
        return self.state.value.each(name, 1) if name in own else self.state.value(name)


@pytest.fixture(scope="module", params=CARS)
def met(request: pytest.FixtureRequest) -> Met:
    made, metering = CARS[request.param]
    return Met(made, metering)  # type: ignore[arg-type]


def test_the_trim_is_the_mass_balance_of_fuel_and_air(met: Met) -> None:
    """`fuel.expected_trim` and its sister are held by the balance of US patent 6,684,869."""
    fuel_ratio = np.exp(met.effects.fuel[:, None])
    meter = np.exp(met.get("meter_gain") + met.get("meter_day") + met.effects.meter[:, None])
    for bank in (0, 1) if met.model.two_banks else (0,):
        way = (1.0, -1.0)[bank]
        level = met.get("fuel_level") + met.get("fuel_fill") + 0.5 * way * met.get("bank_split")
        near = 1.0 + way * np.tanh(met.get("leak_bank")) * met.model.two_banks
        leak = near * met.state["leak"]
        if met.o.airflow_metered:
            air = met.state["passed"] + leak
            expected = fuel.expected_trim(air, leak, meter, fuel_ratio, np.exp(level))
        else:
            # The banks share the air that is computed, but not the leak in it.
            shared = 1.0 + (near - 1.0) * met.state["leak"] / met.state["filled"]
            computed = meter / np.maximum(shared, 0.2)
            expected = fuel.expected_trim_pressure_metered(computed, fuel_ratio, np.exp(level))
        told = met.model.predicted_log_trim(met.state, met.effects, bank)
        assert np.exp(told) - 1.0 == pytest.approx(
            np.broadcast_to(expected, told.shape), rel=1e-9, abs=1e-12
        )


def test_what_fills_the_cylinders_is_speed_density(met: Met) -> None:
    """`cylinder.speed_density_kg_s` is held by Heywood's equation 2.27."""
    manifold, rpm = met.state["manifold"], met.o.speed_rev_s * 60.0
    if met.model.has_manifold.all():
        sensed = met.o.manifold_pa * np.exp(
            -met.get("pressure_gain") - met.effects.pressure[:, None]
        )
        if not met.o.airflow_metered:  # air that is computed falsely may have its reason there
            sensed = sensed * np.exp(-met.get("sensed") * met.effects.meter[:, None])
        assert manifold == pytest.approx(np.maximum(sensed - met.get("pressure_offset"), 5e3))
    else:
        # A pressure that nobody read is that at which the metered air fills them as usual.
        there = (np.exp(met.get("fill_level")), manifold, met.o.displacement_m3)
        warm_k = met.o.intake_k * np.exp(met.get("heating"))
        filled = cylinder.speed_density_kg_s(*there, met.o.speed_rev_s, warm_k)
        guessed = manifold > 5e3
        assert guessed.mean() > 0.9
        assert filled[guessed] == pytest.approx(met.state["passed"][guessed], rel=1e-9)
    rise = met.get("fill_rise") * (1.0 - 35e3 / manifold) / (1.0 - 35.0 / 95.0)
    filling = np.exp(met.get("fill_level") + rise + met.get("fill_speed") * np.log(rpm / 900.0))
    charge_k = met.o.intake_k * np.exp(met.get("heating"))
    expected = cylinder.speed_density_kg_s(
        filling, manifold, met.o.displacement_m3, met.o.speed_rev_s, charge_k
    )
    assert met.state["filled"] == pytest.approx(expected, rel=1e-9)
    back = cylinder.volumetric_efficiency(
        met.state["filled"], manifold, met.o.displacement_m3, met.o.speed_rev_s, charge_k
    )
    assert back == pytest.approx(filling, rel=1e-9)


def test_a_boost_sensor_reads_the_air_outside_at_idle_but_for_its_own_error() -> None:
    """No blower works there: what it reads over the air outside is its gain and its fault."""
    met = Met(*CARS["boosted"])  # type: ignore[arg-type]
    shown_pa = 104e3
    gain = met.get("boost_gain") + met.effects.boost[:, None]
    assert np.ptp(met.effects.boost) > 0.1
    outside_pa = 100e3 * np.exp(met.get("ambient"))
    told = met.model.channel("boost", met.state, met.effects)
    expected = np.log(shown_pa / outside_pa) - gain
    assert told == pytest.approx(np.broadcast_to(expected, told.shape), abs=1e-9)
    assert "boost" in met.model.kinds


def test_leak_and_plate_are_holes_that_air_flows_through(met: Met) -> None:
    """`orifice` is held by NACA 1135, Heywood, cantera, fluids and pygasflow."""
    state, area = met.state, met.effects.leak_area_m2[:, None]
    ambient, upstream = state["ambient"], state["upstream"]
    below = np.minimum(state["manifold"], NEARLY_ONE * ambient)
    expected = orifice.mass_flow_kg_s(area, ambient, below, met.o.intake_k)
    assert state["leak"] == pytest.approx(expected, rel=1e-9)
    of_hole = orifice.leak_area_m2(orifice.leak_diameter_m(area))
    assert of_hole == pytest.approx(area, rel=1e-9)
    effective = state["plate"] * 1e-6 * np.exp(met.get("discharge") * met.model.unchoked)
    below = np.minimum(state["manifold"], NEARLY_ONE * upstream)
    supply = throttle.mass_flow_kg_s(effective, upstream, below, met.o.intake_k)
    given = supply if met.o.airflow_metered else supply + state["leak"]
    told = met.model.channel("plate", state, met.effects)
    assert told == pytest.approx(np.log(state["passed"] / given), abs=1e-9)
    needed = orifice.effective_area_from_flow_m2(state["passed"], upstream, below, met.o.intake_k)
    if met.o.airflow_metered:
        assert np.log(needed / effective) == pytest.approx(told, abs=1e-9)


def plate(over_pct: Floats, deposit_mm2: float, **told: float) -> dict[str, Floats]:
    """A plate by the model's law, openings counted from its stop."""
    table = np.zeros((1, Unknowns.block("ambient", 1).start))
    for name, value in told.items():
        table[0, Unknowns.index(name)] = value
    return plate_parts(over_pct, np.full((1, 1), deposit_mm2), np.zeros((1, 1)), Values(table))


def test_a_deposit_fades_as_the_throttle_has_it() -> None:
    over = np.linspace(0.0, 20.0, 41)
    law = {"slope": 1.2, "fade": 1.4, "opening": 0.3, "bypass": 1.0, "curve": 0.02}
    dirty = plate(over, 6.0, **law)
    expected = throttle.deposit_loss_m2(dirty["opening"], 0.0, 6.0, np.exp(1.4))
    assert dirty["lost"] == pytest.approx(expected)
    clean, left = plate(over, 0.0, **law)["plate"], dirty["plate"]
    wide = over > 8.0
    assert (clean - left)[0, wide] == pytest.approx(expected[0, wide], rel=0.02)


@given(st.floats(40.0, 65.0), st.floats(5.0, 15.0), st.floats(6.0, 10.0), st.floats(0.65, 0.98))
def test_the_law_of_the_plate_is_near_that_of_a_round_one(
    bore_mm: float, closed_deg: float, shaft_mm: float, discharge: float
) -> None:
    """From 1 to 12 degrees open, of plates that close at 5 to 15 degrees (Heywood: 5, 10 or 15):
    what is left between the two is below a third of the model error that is stated, and the curve
    and the slope that fit best are such as they expect."""
    degrees = np.linspace(1.0, 12.0, 23)
    body = (closed_deg, bore_mm * 1e-3, shaft_mm * 1e-3)
    area = 1e6 * throttle.effective_area_m2(closed_deg + degrees, *body, discharge, 2e-6)
    opening = 1.15 * degrees  # per cent of reading
    columns = np.stack([np.ones_like(opening), opening, opening**2], axis=1)
    best = np.linalg.lstsq(columns / area[:, None], np.ones(len(area)), rcond=None)
    bypass, slope, bent = best[0]
    told = plate(
        opening - 1e-3, 0.0, slope=np.log(slope), curve=bent / slope,
        bypass=np.log(max(bypass, 1e-3)), opening=np.log(1e-3),
    )["plate"][0]  # fmt: skip
    priors = load_priors()
    assert np.abs(np.log(told / area)).max() < priors.model_error["plate_log"][0] / 3.0
    mean, sd = priors.plate["curve_per_pct"]
    assert abs(bent / slope - mean) < 2.0 * sd
    mean, sd = priors.plate["log_slope_mm2_per_pct"]
    assert abs(np.log(slope) - mean) < 3.0 * sd


@pytest.mark.parametrize("compression", [9.0, 10.5, 12.0])
def test_filling_rises_with_pressure_as_residual_gas_makes_it(compression: float) -> None:
    """Eriksson and Nielsen, chapter 7, and Hendricks' engine: both rises lie within two standard
    deviations of the prior, and the law follows the first to 1 %, the second to 2."""
    pressure = np.linspace(30e3, 95e3, 40)
    place = (1.0 - 35e3 / pressure) / (1.0 - 35.0 / 95.0)
    mean, sd = load_priors().filling["log_rise"]
    for filling, within in (
        (cylinder.charging_efficiency(compression, 105e3, pressure), 0.01),
        (cylinder.mean_value_filling(pressure), 0.02),
    ):
        log = np.log(filling)
        ends = np.interp([35e3, 95e3], pressure, log)
        rise = ends[1] - ends[0]
        assert abs(rise - mean) < 2.0 * sd
        assert log == pytest.approx(ends[0] + rise * place, abs=within)


@pytest.mark.parametrize(("short_pct", "long_pct"), [(10.0, 12.0), (-6.0, 3.0), (0.0, -15.0)])
def test_trims_add_or_multiply_as_the_physics_has_it(short_pct: float, long_pct: float) -> None:
    """The recorded total is the product; `trim_sum` says how far the car's is towards the sum."""
    short, long = short_pct / 100.0, long_pct / 100.0
    product = fuel.total_trim_multiplicative(short, long)
    made = with_all(
        stretches(),
        short_term_fuel_trim_bank_1=short_pct,
        long_term_fuel_trim_bank_1=long_pct,
        log_total_trim_bank_1=float(np.log1p(product)),
    )
    model = solve(made, [], car()).model
    table = np.zeros((2, model.unknowns.size))
    table[1, Unknowns.index("trim_sum")] = 1.0
    read = np.expm1(model._log_trim(Values(table), 0))
    assert read[0] == pytest.approx(product)
    assert read[1] == pytest.approx(fuel.total_trim_additive(short, long))
