"""From simulated trials back to the slopes they were made with, and what is refused."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray

from optimizer.energy.own import SLOPES, own_model
from optimizer.errors import InputError, Origin
from optimizer.learn.conjugate import regress
from optimizer.learn.learn import design, learn
from optimizer.learn.model_file import model_text
from optimizer.learn.prior import WIDE_W_PER_KG, published_prior
from optimizer.learn.trials import Trial, read_trials
from tests.running import run_here

Array = NDArray[np.float64]
LOADS = ((0, 0, 0, 0), (2, 0, 0, 0), (0, 2, 0, 0), (0, 0, 2, 0), (0, 0, 0, 6), (0, 0, 1, 0))
TRUE = np.array([0.09, 0.11, 0.26, 0.05])


def simulated(
    slopes: Array, rng: np.random.Generator, subjects: int = 4, noise: float = 0.08, loads=LOADS
) -> list[Trial]:
    trials = []
    for s in range(subjects):
        base, body = rng.normal(4.0, 0.4), rng.uniform(55, 90)
        for i, load in enumerate(loads):
            power = body * (base + float(np.dot(slopes, load)) + noise * rng.normal())
            added = tuple(float(kg) for kg in load)
            row = Origin("trials.csv", 2 + i)
            trials.append(Trial(f"s{s}", body, 1.25, added, power, row))  # type: ignore[arg-type]
    return trials


def test_intervals_hold_the_true_slopes_as_often_as_stated() -> None:
    rng = np.random.default_rng(1)
    prior = published_prior()
    held = []
    for _ in range(200):
        slopes = np.maximum(rng.multivariate_normal(prior.mean, prior.covariance), 0.01)
        found = learn(simulated(slopes, rng))
        held.append((found.interval[:, 0] < slopes) & (slopes < found.interval[:, 1]))
    # 800 intervals of 95 %, not all independent: two binomial standard errors are 0.015
    assert np.mean(held) == pytest.approx(0.95, abs=0.025)
    assert np.all(np.mean(held, axis=0) > 0.90)


def test_many_good_trials_recover_the_slopes_whatever_the_prior() -> None:
    rng = np.random.default_rng(2)
    found = learn(simulated(TRUE, rng, subjects=40, noise=0.03))
    assert found.mean == pytest.approx(TRUE, rel=0.05)
    assert found.noise == pytest.approx(0.03, rel=0.15)
    assert all(found.learned)
    assert found.left_out_rms < 0.7 * found.left_out_prior_rms


def test_with_known_noise_the_answer_is_the_conjugate_posterior() -> None:
    trials = simulated(TRUE, np.random.default_rng(3))
    found = learn(trials, noise_w_per_kg=0.1)
    x, y, baselines = design(trials)
    n, prior = len(baselines), published_prior()
    covariance = np.zeros((n + 4, n + 4))
    covariance[:n, :n] = WIDE_W_PER_KG**2 * np.eye(n)
    covariance[n:, n:] = prior.covariance
    mean = np.concatenate([np.full(n, y.mean()), prior.mean])
    precision = np.linalg.inv(covariance) + x.T @ x / 0.01
    expected = np.linalg.solve(precision, np.linalg.solve(covariance, mean) + x.T @ y / 0.01)
    assert found.mean == pytest.approx(expected[n:], rel=1e-9)
    assert np.allclose(found.covariance, np.linalg.inv(precision)[n:, n:], rtol=1e-8)
    assert np.allclose(regress(x, y, mean, covariance / 0.01, noise=0.1).mean, expected, rtol=1e-9)


def test_the_prior_is_published_and_a_factor_of_two_wide() -> None:
    prior = published_prior()
    assert prior.mean == pytest.approx([0.075, 0.076, 0.200, 0.045])
    # sd of a lognormal of median m whose middle 95 % is m/2 to 2m
    s = np.log(2.0) / 1.959964
    wide = np.exp(0.5 * s**2) * np.sqrt(np.exp(s**2) - 1.0)
    assert np.sqrt(np.diag(prior.covariance)) == pytest.approx(prior.mean * wide, rel=1e-4)
    together = prior.covariance[0, 1] / np.sqrt(prior.covariance[0, 0] * prior.covariance[1, 1])
    assert together == pytest.approx((np.exp(0.5 * s**2) - 1) / (np.exp(s**2) - 1), rel=1e-4)


def test_a_place_without_trials_keeps_nearly_the_published_slope_and_says_so() -> None:
    loads = tuple(load for load in LOADS if load[3] == 0)
    prior = published_prior()
    found = learn(simulated(prior.mean, np.random.default_rng(5), loads=loads))
    assert found.learned == (True, True, True, False)
    assert found.mean[3] == pytest.approx(0.045, rel=0.15)
    assert any("nothing was learned of the waist" in text for text in found.warnings)


@pytest.mark.parametrize(
    ("rows", "match"),
    [
        ([], "no trials"),
        ([("a", (0, 0, 0, 0), 300.0), ("b", (0, 0, 2, 0), 320.0)], "2 trials"),
        ([("a", (0, 0, 2, 0), 300.0 + i) for i in range(6)], "nothing of any slope"),
        (
            [("a", (0, 0, 0.5 * (i % 5), 0), 340.0 - 40.0 * (i % 5)) for i in range(40)],
            "makes walking cheaper",
        ),
    ],
)
def test_too_little_and_impossible_trials_are_refused(rows, match: str) -> None:
    trials = [
        Trial(who, 70.0, 1.25, tuple(map(float, kg)), w, Origin("t.csv", i + 2))  # type: ignore[arg-type]
        for i, (who, kg, w) in enumerate(rows)
    ]
    with pytest.raises(InputError, match=match):
        learn(trials)


@pytest.mark.parametrize("noise", ["inf", "1e300", "101", "0", "-1", "nan"])
def test_noise_that_no_trial_has_is_refused(tmp_path: Path, noise: str) -> None:
    file = tmp_path / "t.csv"
    rows = "a,70,1.25,0,280\na,70,1.25,2,311\na,70,1.25,2,312\n"
    file.write_text(f"subject,body_mass_kg,speed_m_s,foot_kg,metabolic_w\n{rows}")
    code, out, said = run_here(["learn", str(file), f"--noise={noise}"])
    assert (code, out) == (2, "") and "--noise" in said and "Traceback" not in said
    assert run_here(["learn", str(file), "--noise=0.2"])[0] == 0
    code, _, said = run_here(["learn", str(file), "--noise=50"])
    assert code == 2 and "with a noise of 50 W/kg" in said


def test_trials_that_contradict_the_literature_or_each_other_are_told() -> None:
    rng = np.random.default_rng(6)
    far = learn(simulated(np.array([0.5, 0.6, 1.4, 0.4]), rng, subjects=8))
    assert far.surprise < 1e-3
    assert any("contradict the published slopes" in text for text in far.warnings)
    noisy = learn(simulated(TRUE, rng, subjects=30, noise=0.8))
    assert any("contradict one another" in text for text in noisy.warnings)
    fine = learn(simulated(TRUE, rng))
    assert not any("contradict" in text for text in fine.warnings)
    with pytest.raises(InputError, match="contradict one another"):
        learn(simulated(TRUE, rng, subjects=3, noise=3.0))
    odd = simulated(TRUE, rng, subjects=6)
    spoilt = odd[3]
    odd[3] = Trial(
        spoilt.subject, spoilt.body_mass_kg, 1.25, spoilt.added_kg, spoilt.metabolic_w * 1.4,
        spoilt.origin,
    )  # fmt: skip
    assert any("one trial (row 5)" in text for text in learn(odd).warnings)


def test_the_file_written_is_the_model_learned(tmp_path: Path) -> None:
    found = learn(simulated(TRUE, np.random.default_rng(7)))
    file = tmp_path / 'my "lab".toml'
    file.write_text(model_text(found, 'Trials of "ours" \\ 2024'), encoding="utf-8")
    read = own_model(f"file:{file.name}", Origin(str(tmp_path / "study.toml")))
    assert read.mean == pytest.approx(found.mean, rel=1e-12)
    assert np.allclose(read.covariance, found.covariance, rtol=1e-9)
    assert read.leg.title == 'Trials of "ours" \\ 2024'
    assert read.leg.validity.leg_segment_kg["foot"] == 1.0
    assert SLOPES == ("thigh", "shank", "foot", "waist")


def test_misspelt_column_of_trials_is_told_and_a_wrong_unit_refused(tmp_path: Path) -> None:
    file = tmp_path / "t.csv"
    rows = "a,70,1.25,0,0,300\na,70,1.25,2,0,330\na,70,1.25,0,4,320\n"
    file.write_text(f"subject,body_mass_kg,speed_m_s,foot_kg,tronk_kg,metabolic_w\n{rows}")
    cautions: list[str] = []
    read_trials(file, cautions)
    (said,) = cautions
    assert "t.csv row 1 column tronk_kg" in said and "is trunk_kg meant?" in said
    code, out, _ = run_here(["learn", str(file), "--width", "200"])
    assert code == 0 and "is trunk_kg meant?" in out
    file.write_text(f"subject,body_mass_kg,speed_m_s,foot_kg,trunk_g,metabolic_w\n{rows}")
    with pytest.raises(InputError) as caught:
        read_trials(file)
    (flaw,) = caught.value.flaws
    assert (flaw.origin.column, flaw.nearest) == ("trunk_g", "trunk_kg")


def test_trials_are_read_with_blanks_as_none_and_flaws_by_row(tmp_path: Path) -> None:
    file = tmp_path / "t.csv"
    file.write_text(
        "subject,body_mass_kg,speed_m_s,foot_kg,metabolic_w\na,70,1.25,,300\na,70,1.25,2,330\n"
    )
    first, second = read_trials(file)
    assert first.added_kg == (0.0, 0.0, 0.0, 0.0)
    assert second.added_kg == (0.0, 0.0, 2.0, 0.0)
    file.write_text(
        "subject,body_mass_kg,speed_m_s,foot_kg,metabolic_w\n"
        "a,70,1.25,-1,300\na,70,fast,2,330\na,90,1.25,2,330\n"
    )
    with pytest.raises(InputError) as caught:
        read_trials(file)
    found = {(f.origin.row, f.origin.column) for f in caught.value.flaws}
    assert {(2, "foot_kg"), (3, "speed_m_s")} <= found
    file.write_text("body_mass_kg,speed_m_s,metabolic_w\n70,1.25,300\n")
    with pytest.raises(InputError):
        read_trials(file)
