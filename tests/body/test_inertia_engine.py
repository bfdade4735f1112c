"""Composite inertia of the loaded leg against an independent physics engine."""

import numpy as np
import pytest
from body_samples import TABLES, wearer
from mujoco_leg import Box, leg_model, mass_matrix

from optimizer.body.gait import segment_angles, swing_share
from optimizer.body.inertia import bare_leg_inertia, box_inertia_ml, squared_distance

JOINTS = ("hip", "knee", "ankle")
ORDER = ("thigh", "shank", "foot")


def boxes_on(body, seed: int) -> list[Box]:
    rng = np.random.default_rng(seed)
    boxes = []
    for i in range(7):
        part = body.segments[ORDER[i % 3], "right"]
        position = part.proximal + rng.uniform(0, 1) * (part.distal - part.proximal)
        position = position + rng.uniform(-0.1, 0.1, 3)
        size = tuple(rng.uniform(0.01, 0.2, 3))
        boxes.append(
            Box(part.key[0], position, float(rng.uniform(0.05, 2)), size, bool(rng.integers(2)))
        )
    return boxes


def loaded_inertia(body, boxes, joint, pose) -> float:
    total = bare_leg_inertia(body, "right", joint, pose)
    for box in boxes:
        if ORDER.index(box.segment) >= JOINTS.index(joint):
            key = (box.segment, "right")
            (squared,) = squared_distance(body, key, box.position, joint, pose)
            total += box.mass_kg * squared + box_inertia_ml(box.mass_kg, box.size_m, box.sideways)
    return total


@pytest.mark.parametrize("table", TABLES)
@pytest.mark.parametrize("sex", ["male", "female"])
def test_straight_leg_with_parts(sex, table):
    body = wearer(sex, table)
    boxes = boxes_on(body, 1)
    diagonal = np.diag(mass_matrix(leg_model(body, boxes), (0, 0, 0)))
    bare = np.diag(mass_matrix(leg_model(body), (0, 0, 0)))
    for i, joint in enumerate(JOINTS):
        assert loaded_inertia(body, boxes, joint, "straight") == pytest.approx(
            diagonal[i], rel=1e-9
        )
        assert bare_leg_inertia(body, "right", joint) == pytest.approx(bare[i], rel=1e-9)


@pytest.mark.parametrize("phase", [0.61, 0.66, 0.73, 0.80, 0.90, 0.99])
@pytest.mark.parametrize("seed", [2, 3])
def test_leg_with_parts_in_poses_of_swing(phase, seed):
    body = wearer("female")
    boxes = boxes_on(body, seed)
    thigh, shank, foot = (float(a) for a in segment_angles(phase))
    diagonal = np.diag(mass_matrix(leg_model(body, boxes), (thigh, shank - thigh, foot - shank)))
    pose = (thigh - shank, foot - shank)
    for i, joint in enumerate(JOINTS):
        assert loaded_inertia(body, boxes, joint, pose) == pytest.approx(diagonal[i], rel=1e-9)


def test_mean_over_swing():
    body = wearer()
    boxes = boxes_on(body, 4)
    model = leg_model(body, boxes)
    phases = np.linspace(1 - swing_share(), 1, 401)
    angles = np.column_stack(segment_angles(phases))
    hinges = np.column_stack([angles[:, 0], np.diff(angles, axis=1)])
    diagonals = np.array([np.diag(mass_matrix(model, q)) for q in hinges])
    mean = np.trapezoid(diagonals, phases, axis=0) / swing_share()
    for i, joint in enumerate(JOINTS):
        assert loaded_inertia(body, boxes, joint, "swing") == pytest.approx(mean[i], rel=2e-6)
