"""How late an analyzer sees the water: plug flow, mixer, averaging, and the place of the tap."""

from __future__ import annotations

import numpy as np
import pytest
from gtc import same_as_central_difference, same_as_gtc
from printed import agrees

from wqverify.calculations import sample_line
from wqverify.errors import CorrectTheEntry
from wqverify.terms import Input


def test_w32_a_tube_is_plug_flow() -> None:
    volume = sample_line.line_volume_ml(6.35, 10.0)
    agrees("W32", volume=volume, passage=sample_line.passage_s(volume, 500.0))


def test_w33_line_and_cell() -> None:
    line, cell, flow = sample_line.line_volume_ml(4.57, 30.0), 450.0, 250.0
    agrees(
        "W33",
        line=sample_line.passage_s(line, flow) / 60,
        cell=sample_line.passage_s(cell, flow) / 60,
        mean=sample_line.mean_age_s(line, cell, flow) / 60,
        response_95=sample_line.response_95_s(line, cell, flow) / 60,
    )


def test_the_mixer_shows_95_percent_of_a_step_by_an_independent_integral() -> None:
    """A step through plug flow and a stirred cell, integrated in small steps."""
    line, cell, flow = 100.0, 200.0, 300.0  # mL, mL, mL/min
    step, inside, t = 0.01, 0.0, 0.0
    while inside < 0.95:
        t += step
        inside += step / 60 * flow / cell * ((1.0 if t > 60 * line / flow else 0.0) - inside)
    assert t == pytest.approx(sample_line.response_95_s(line, cell, flow), abs=0.05)


def test_w38_a_moving_average_on_a_ramp_is_late_by_half_its_window() -> None:
    rate, window = 0.02, 300.0  # NTU/min, s
    t = np.linspace(0, 3600, 36001)
    ramp = rate / 60 * t
    last = (t > 3600 - window) | np.isclose(t, 3600 - window)
    low_by = ramp[-1] - ramp[last].mean()
    agrees("W38", late=low_by)
    assert sample_line.late_by_average_s(window) * rate / 60 == pytest.approx(low_by, abs=1e-9)


def test_dampings_in_series_are_late_on_a_ramp_by_their_sum_by_an_independent_integral() -> None:
    """A ramp of 0.001 NTU/s through two first-order lags, integrated in small steps."""
    rate, step, constants = 0.001, 0.01, (30.0, 5.0)
    first = second = true = 0.0
    for _ in range(60_000):  # 10 min: twenty of the longer time constant
        true += rate * step
        first += step / constants[0] * (true - first)
        second += step / constants[1] * (first - second)
    assert (true - second) / rate == pytest.approx(sample_line.late_by_damping_s(constants), abs=0.05)
    assert sample_line.late_by_damping_s([]) == 0


@pytest.mark.parametrize(
    ("place", "delay"), [("process tap", 65.0), ("analyzer inlet", 27.0), ("analyzer drain", 3.0)]
)
def test_the_place_of_the_tap_decides_the_sign(place: str, delay: float) -> None:
    assert sample_line.twin_delay_s(place, 38.0, 18.0, 6.0, 9.0) == delay


def test_a_fast_instrument_has_read_the_water_before_it_drains() -> None:
    assert sample_line.twin_delay_s("analyzer drain", 38.0, 18.0, 6.0, 0.0) == -6.0


def test_no_delay_from_an_unknown_place() -> None:
    with pytest.raises(ValueError, match="no delay is known from the place 'bucket'"):
        sample_line.twin_delay_s("bucket", 1.0, 1.0, 1.0, 1.0)


@pytest.mark.parametrize("flow", [0.0, -5.0])
def test_no_flow_is_refused(flow: float) -> None:
    with pytest.raises(CorrectTheEntry) as caught:
        sample_line.passage_s(100.0, flow)
    assert caught.value.message == (
        f"A sample flow of {flow} mL/min carries no water to the analyzer; measure it by cup and watch."
    )


def test_the_age_of_the_water_by_gtc() -> None:
    inputs = {
        "bore": Input(6.35, 0.1),
        "length": Input(10.0, 0.2),
        "flow": Input(500.0, 25.0, dof=4),
        "cell": Input(150.0, 5.0),
    }

    def model(x):  # type: ignore[no-untyped-def]
        line = sample_line.line_volume_ml(x["bore"], x["length"])
        return {"age": sample_line.mean_age_s(line, x["cell"], x["flow"])}

    same_as_central_difference(model, inputs, same_as_gtc(model, inputs))
