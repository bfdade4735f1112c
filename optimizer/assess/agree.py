"""The two roads must meet: the program's score of a layout against the assessment's."""

from __future__ import annotations

from optimizer.assess.result import Assessment
from optimizer.errors import DisagreementError
from optimizer.problem.quantities import DISCOMFORT, INDEX, INERTIA, LEG_W, MASS
from optimizer.solve.program import Solution

#: Largest relative difference allowed between the two roads.
AGREEMENT = 1e-6


def require_agreement(solution: Solution, assessment: Assessment) -> None:
    """Compare score, leg watts, discomfort, masses and swing inertia of one layout.

    Raises
    ------
    DisagreementError
        If any differs by more than 1e-6 relative: a fault of limbtrim, never of the input.
    """
    q = solution.quantities
    pairs = [
        ("score", solution.score, assessment.score),
        (LEG_W, q[INDEX[LEG_W]], assessment.leg_w),
        (DISCOMFORT, q[INDEX[DISCOMFORT]], assessment.discomfort),
    ]
    for key, name in MASS.items():
        if key[0] == "off_body":
            pairs.append((name, q[INDEX[name]], assessment.off_body_mass_kg))
        else:
            pairs.append((name, q[INDEX[name]], assessment.mass_kg[name.removeprefix("mass.")]))
    for swing in assessment.swing_inertia:
        name = INERTIA[swing.joint, swing.side]
        pairs.append((name, q[INDEX[name]], swing.added_kg_m2))
    for name, program, assessed in pairs:
        if abs(program - assessed) > AGREEMENT * max(abs(program), abs(assessed), 1e-9 / AGREEMENT):
            raise DisagreementError(
                f"the program and the assessment disagree about {name}: "
                f"{program!r} against {assessed!r}"
            )
    if not assessment.feasible:
        broken = [limit.label for limit in assessment.limits if not limit.met]
        raise DisagreementError(
            f"the program calls a layout feasible that breaks: {'; '.join(broken)}"
        )
