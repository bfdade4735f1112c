"""The wearer's right leg as a physics-engine model: three hinges and welded boxes."""

from collections.abc import Sequence
from dataclasses import dataclass

import mujoco
import numpy as np

from optimizer.body.wearer import Wearer

CHAIN = (("thigh", "hip"), ("shank", "knee"), ("foot", "ankle"))


@dataclass(frozen=True)
class Box:
    """A placed part: size is (length, width, thickness) as in a catalog."""

    segment: str
    position: np.ndarray
    mass_kg: float
    size_m: tuple[float, float, float]
    sideways: bool


def _box_half_sizes(box: Box) -> tuple[float, float, float]:
    """Half extents along x, y, z of the standing body."""
    length, width, thickness = (d / 2 for d in box.size_m)
    normal, across = (width, thickness) if box.sideways else (thickness, width)
    # (depth in the sagittal plane, mediolateral); the foot's long axis points forward.
    return (length, normal, across) if box.segment == "foot" else (normal, length, across)


def _numbers(values) -> str:
    return " ".join(repr(float(v)) for v in values)


def leg_model(
    wearer: Wearer, boxes: Sequence[Box] = (), side: str = "right", moving_hip: bool = False
) -> mujoco.MjModel:
    """Hinges about z at hip, knee and ankle, standing at q = 0, gravity along -y."""
    xml = ""
    origin = np.zeros(3)
    for segment, joint in CHAIN:
        centre = wearer.joint(joint, side)
        part = wearer.segments[segment, side]
        inertia = _numbers([part.inertia_ml_kg_m2] * 3)
        xml += f'<body name="{segment}" pos="{_numbers(centre - origin)}">'
        if moving_hip and segment == "thigh":
            xml += '<joint type="slide" axis="1 0 0"/><joint type="slide" axis="0 1 0"/>'
        xml += (
            f'<joint name="{joint}" type="hinge" axis="0 0 1"/>'
            f'<inertial pos="{_numbers(part.com - centre)}" mass="{part.mass_kg!r}" '
            f'diaginertia="{inertia}"/>'
        )
        for box in boxes:
            if box.segment == segment:
                xml += (
                    f'<body pos="{_numbers(box.position - centre)}">'
                    f'<geom type="box" size="{_numbers(_box_half_sizes(box))}" '
                    f'mass="{box.mass_kg!r}"/></body>'
                )
        origin = centre
    xml += "</body>" * len(CHAIN)
    return mujoco.MjModel.from_xml_string(
        '<mujoco><compiler inertiafromgeom="auto"/><option gravity="0 -9.80665 0">'
        '<flag contact="disable"/></option>'
        f"<worldbody>{xml}</worldbody></mujoco>"
    )


def mass_matrix(model: mujoco.MjModel, angles: Sequence[float]) -> np.ndarray:
    """Joint-space mass matrix at the hinge angles (hip, knee, ankle) [rad]."""
    data = mujoco.MjData(model)
    data.qpos[:] = angles
    mujoco.mj_forward(model, data)
    full = np.zeros((model.nv, model.nv))
    for column, unit in zip(full, np.eye(model.nv), strict=True):
        mujoco.mj_mulM(model, data, column, unit)
    return full
