"""Inverse dynamics of the loaded leg against an independent physics engine."""

import mujoco
import numpy as np
import pytest
from body_samples import TABLES, wearer
from mujoco_leg import Box, leg_model

from optimizer.body.dynamics import AddedMass, inverse_dynamics, leg_links
from optimizer.body.inertia import box_inertia_ml
from optimizer.body.motion import swing_motion, swing_phases


def engine_moments(model, motion):
    """(n, 5): hip force forward and up, and moments about hip, knee and ankle, forward positive."""
    data = mujoco.MjData(model)
    rows = []
    for i in range(motion.time_s.size):

        def hinges(values, i=i):
            return [values[0, i], values[1, i] - values[0, i], values[2, i] - values[1, i]]

        hip, velocity, acceleration = (
            z[i] for z in (motion.hip, motion.hip_velocity, motion.hip_acceleration)
        )
        data.qpos[:] = [hip.real, hip.imag, *hinges(motion.angle)]
        data.qvel[:] = [velocity.real, velocity.imag, *hinges(motion.rate)]
        data.qacc[:] = [acceleration.real, acceleration.imag, *hinges(motion.acceleration)]
        mujoco.mj_inverse(model, data)
        rows.append(data.qfrc_inverse.copy())
    return np.array(rows)


@pytest.mark.parametrize("loaded", [False, True])
@pytest.mark.parametrize("speed", [0.8, 1.43])
@pytest.mark.parametrize("table", TABLES)
def test_swing_moments(table, speed, loaded):
    body = wearer("female", table)
    boxes = []
    if loaded:
        rng = np.random.default_rng(7)
        for segment in ("thigh", "shank", "foot", "foot"):
            part = body.segments[segment, "right"]
            place = part.proximal + rng.uniform(0, 1) * (part.distal - part.proximal)
            boxes.append(
                Box(
                    segment,
                    place + rng.uniform(-0.08, 0.08, 3),
                    float(rng.uniform(0.2, 1.5)),
                    tuple(rng.uniform(0.02, 0.15, 3)),
                    bool(rng.integers(2)),
                )
            )
    added = [
        AddedMass(
            (b.segment, "right"),
            b.position,
            b.mass_kg,
            box_inertia_ml(b.mass_kg, b.size_m, b.sideways),
        )
        for b in boxes
    ]
    motion = swing_motion(body, speed, swing_phases(speed, 41))
    ours = inverse_dynamics(leg_links(body, "right", added), motion)
    theirs = engine_moments(leg_model(body, boxes, moving_hip=True), motion)
    pairs = (
        (ours.hip_force.real, theirs[:, 0]),
        (ours.hip_force.imag, theirs[:, 1]),
        (ours.moment_nm["hip"], theirs[:, 2]),
        (-ours.moment_nm["knee"], theirs[:, 3]),
        (ours.moment_nm["ankle"], theirs[:, 4]),
    )
    for mine, engine in pairs:
        assert mine == pytest.approx(engine, rel=1e-6, abs=1e-6 * np.abs(engine).max())
