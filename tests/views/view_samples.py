"""An invented study and rankings to show: no physics in them, only every kind of thing to print."""

from __future__ import annotations

from dataclasses import replace

from optimizer.assess.result import (
    Assessment,
    Infeasible,
    Layout,
    LimitReport,
    LineReport,
    Obstacle,
    PartReport,
    Placement,
    Proof,
    RankedLayout,
    Ranking,
    Routing,
    SwingInertia,
)
from optimizer.errors import Origin
from optimizer.study.model import (
    EnergySpec,
    LimitSpec,
    Line,
    LineOption,
    Part,
    PartModel,
    RoutesSpec,
    Site,
    SolveSpec,
    Study,
    Task,
    WearerSpec,
    Weights,
)

WALKING_W = 152.6

#: unit, model, site, segment, side, g, mm from the hip, W, kg m2
PARTS = [
    ("battery", "li_ion_6s2p", "vest_back_low", "trunk", "centre", 612, 0, 1.707, 0.0),
    ("pump", "pump_dual_head", "vest_left", "trunk", "centre", 890, 0, 2.483, 0.0),
    ("controller", "controller", "vest_right", "trunk", "centre", 148, 0, 0.413, 0.0),
    ("reservoir", "bottle_400", "vest_back_high", "trunk", "centre", 310, 0, 0.865, 0.0),
    ("vent_valve", "vq110", "shank_left_outer", "shank", "left", 38, 561, 0.181, 0.01201),
    ("imu_thigh#1", "imu_thigh", "thigh_left_front", "thigh", "left", 9, 212, 0.041, 0.00041),
    ("imu_thigh#2", "imu_thigh", "thigh_right_front", "thigh", "right", 9, 212, 0.041, 0.00041),
    ("ankle_unit", "cylinder_25x50", "foot_left_heel", "foot", "left", 486, 838, 6.034, 0.34131),
]
_ORDER = {"trunk": 0, "thigh": 1, "shank": 2, "foot": 3, "off_body": 4}
LINES = [
    (
        "air_main",
        "air_tube",
        "pu_6x4",
        "6x4",
        "reservoir",
        "vent_valve",
        (
            "vest_back_high",
            "waist_back",
            "waist_back_left",
            "hip_outer_left",
            "thigh_outer_left",
            "knee_outer_left",
            "shank_outer_left",
            "shank_left_outer",
        ),
        (1.341, 0.12, 0.0247, 0.11, 0.0071),
        1.5,
        ("passes the buttock: is sat on",),
        {"fill_ms": 96.04, "efficiency_frac": 0.87},
    ),
    (
        "air_cylinder",
        "air_tube",
        "pu_8x5.7",
        "8x5.7",
        "vent_valve",
        "ankle_unit",
        ("shank_left_outer", "shank_outer_left", "ankle_outer_left", "foot_heel_left",
         "foot_left_heel"),
        (0.412, 0.05, 0.0113, 0.093, 0.0062),
        0.45,
        (),
        {},
    ),
    (
        "power",
        "wire",
        "awg20",
        "AWG 20",
        "battery",
        "controller",
        ("vest_back_low", "waist_back", "waist_back_right", "waist_right", "vest_right"),
        (0.377, 0.0, 0.0058, 0.016, 0.0),
        None,
        (),
        {},
    ),
]  # fmt: skip
ORIGIN = Origin("garments/vest_and_leg.csv", 7, "mass_limit_g")


def layout(moves: dict[str, str] | None = None) -> Layout:
    """The best layout, or one with some units at other sites."""
    moves = moves or {}
    return Layout(
        tuple(Placement(u, u.split("#")[0], m, moves.get(u, s)) for u, m, s, *_ in PARTS),
        tuple(Routing(n, o, a, b, nodes) for n, _, o, _, a, b, nodes, *_ in LINES),
    )


def limits() -> tuple[LimitReport, ...]:
    """A dozen limits, one binding."""
    found = [
        ("site_mass", "foot_left_heel", "mass at foot_left_heel", 486, 500, "g", False),
        ("site_volume", "vest_left", "volume in vest_left", 900, 900, "cm3", True),
        ("left_right_mass", "left>right", "mass on the left leg beyond the right", 583, 600, "g",
         False),
        ("line_length", "air_cylinder", "length of air_cylinder", 412, 450, "mm", False),
        ("left_right_swing_inertia", "left>right", "swing inertia of the left leg beyond the right",
         14.02, 25, "% of the bare leg", False),
        ("sites_in_use", "garment", "sites in use", 8, 9, "sites", False),
    ]  # fmt: skip
    found += [
        ("site_mass", f"vest_pocket_{i}", f"mass at vest_pocket_{i}", 10 * i, 500, "g", False)
        for i in range(6)
    ]
    return tuple(
        LimitReport(kind, subject, label, v, m, m - v, unit, binding, ORIGIN)
        for kind, subject, label, v, m, unit, binding in found
    )


def assessment(at: Layout | None = None, extra_w: float = 0.0) -> Assessment:
    """An assessment of a layout, dearer than the best by `extra_w`."""
    at = at or layout()
    sites = {p.unit: p.site for p in at.placements}
    parts = tuple(
        PartReport(u, u.split("#")[0], m, sites[u], seg, side, g / 1e3, mm / 1e3, w,
                   100 * w / WALKING_W, i, 100 * w / WALKING_W + 0.1 * 100 * i / 2.52)
        for u, m, _, seg, side, g, mm, w, i in sorted(PARTS, key=lambda p: (_ORDER[p[3]], p[4]))
    )  # fmt: skip
    lines = tuple(
        LineReport(n, kind, o, size, a, b, sites[a], sites[b], nodes, length, slack, 0.6,
                   ("hip.left", "knee.left") if "hip_outer_left" in nodes else (), mass, w, i,
                   longest, cautions, physics)
        for n, kind, o, size, a, b, nodes, (length, slack, mass, w, i), longest, cautions, physics
        in LINES
    )  # fmt: skip
    watts = 12.431 + extra_w
    return Assessment(
        layout=at,
        parts=parts,
        lines=lines,
        holder_mass_kg=dict.fromkeys(sites.values(), 0.045),
        mass_kg={
            "trunk": 2.112,
            "thigh.left": 0.071,
            "shank.left": 0.112,
            "foot.left": 0.542,
            "thigh.right": 0.054,
            "shank.right": 0.0,
            "foot.right": 0.0,
        },
        total_mass_kg=2.891,
        off_body_mass_kg=0.0,
        leg_w=watts - 5.9,
        trunk_w=5.9,
        metabolic_w=watts,
        metabolic_pct=100 * watts / WALKING_W,
        walking_w=WALKING_W,
        assist_w=0.41 * watts,
        swing_inertia=tuple(
            SwingInertia(side, joint, bare, added if side == "left" else added / 40)
            for joint, bare, added in (
                ("hip", 2.5213, 0.3712),
                ("knee", 0.3641, 0.1021),
                ("ankle", 0.0083, 0.0019),
            )
            for side in ("left", "right")
        ),
        swing_inertia_pct=15.09,
        discomfort=0.0,
        score=100 * watts / WALKING_W + 1.509,
        limits=limits(),
        warnings=("segment_curve was measured with 2 to 8 kg a leg; the left carries 0.7 kg",),
    )


def proof(status: str = "optimal", gap: float = 0.0, score: float = 9.655) -> Proof:
    """A proof of the kind asked for."""
    return Proof(status, score, score * (1 - gap), gap, 0.81, 41)


def ranking(status: str = "optimal", gap: float = 0.0) -> Ranking:
    """Three layouts, the best first."""
    others = [
        (layout({"vent_valve": "shank_left_front"}), 0.0004),
        (layout({"vent_valve": "vest_left", "controller": "vest_back_low"}), 0.31),
    ]
    found = [assessment(), *(assessment(at, more) for at, more in others)]
    return Ranking(
        study_name="air_ankle",
        layouts=tuple(
            RankedLayout(i + 1, a, proof(status, gap, a.score)) for i, a in enumerate(found)
        ),
        exhausted=False,
        seconds=1.31,
        size={"choices": 980, "choices_after_presolve": 412, "rows": 2210, "columns": 3054},
        warnings=("thigh lengths of this wearer are extrapolated",),
    )


def infeasible() -> Infeasible:
    """Two limits that clash and a part without a place."""
    return Infeasible(
        "air_ankle",
        (
            Obstacle("the foot may carry 300 g but ankle_unit weighs 486 g", ORIGIN),
            Obstacle(
                "air_cylinder reaches 450 mm from vent_valve", Origin("catalogs/lines.csv", 4)
            ),
        ),
        ("ankle_unit",),
        0.2,
        ("thigh lengths of this wearer are extrapolated",),
    )


def study() -> Study:
    """A study that fits the ranking by name."""
    by_part: dict[str, list[tuple]] = {}
    for row in PARTS:
        by_part.setdefault(row[0].split("#")[0], []).append(row)
    sites = tuple(
        Site(s, seg, side, 0.5, 0.05, 0.0, 9e-4, 0.5, 0.06, 0.045, 4e-3, frozenset(), 8.0,
             frozenset(), None, ORIGIN)
        for _, _, s, seg, side, *_ in PARTS
    )  # fmt: skip
    parts = tuple(
        Part(
            name,
            (PartModel(rows[0][1], rows[0][5] / 1e3, 1e-4, (0.1, 0.05, 0.03),
                       tuple(s.name for s in sites), frozenset(), 0.0, None, ORIGIN),),
            len(rows),
            ORIGIN,
        )
        for name, rows in by_part.items()
    )  # fmt: skip
    lines = tuple(
        Line(n, kind, a, b, 0.06,
             (LineOption(o, size, None, 0.02, 0.003, longest or 3.0, ORIGIN),), ORIGIN)
        for n, kind, o, size, a, b, _, _, longest, *_ in LINES
    )  # fmt: skip
    return Study(
        name="air_ankle",
        title="air-driven ankle, pump on the vest",
        invented=True,
        parts=parts,
        sites=sites,
        lines=lines,
        wearer=WearerSpec("female", 1.68, 62.0, affected_side="left"),
        task=Task(),
        energy=EnergySpec(),
        weights=Weights(),
        limits=(LimitSpec("segment_mass", "foot", 0.6, ORIGIN),),
        rules=(),
        routes=RoutesSpec(),
        solve=SolveSpec(),
        inertia_pose="swing",
        origin=Origin("studies/air_ankle.toml"),
        files={"parts": "catalogs/air_ankle/parts.csv", "sites": "garments/vest_and_leg.csv"},
        warnings=(),
    )


def renamed(found: Ranking, names: dict[str, str]) -> Ranking:
    """The same ranking with units, parts, sites, nodes and models called otherwise."""

    def new(name: str) -> str:
        return names.get(name, name)

    def one(a: Assessment) -> Assessment:
        return replace(
            a,
            layout=Layout(
                tuple(
                    replace(p, unit=new(p.unit), part=new(p.part), site=new(p.site),
                            model=new(p.model))
                    for p in a.layout.placements
                ),
                tuple(
                    replace(r, line=new(r.line), option=new(r.option),
                            nodes=tuple(map(new, r.nodes)))
                    for r in a.layout.routings
                ),
            ),
            parts=tuple(
                replace(p, unit=new(p.unit), part=new(p.part), site=new(p.site),
                        model=new(p.model))
                for p in a.parts
            ),
            lines=tuple(
                replace(n, line=new(n.line), option=new(n.option), site_a=new(n.site_a),
                        site_b=new(n.site_b), nodes=tuple(map(new, n.nodes)))
                for n in a.lines
            ),
            holder_mass_kg={new(s): m for s, m in a.holder_mass_kg.items()},
            limits=tuple(replace(m, label=f"{m.kind} {new(m.subject)}") for m in a.limits),
        )  # fmt: skip

    return replace(
        found,
        study_name=new(found.study_name),
        layouts=tuple(replace(r, assessment=one(r.assessment)) for r in found.layouts),
    )
