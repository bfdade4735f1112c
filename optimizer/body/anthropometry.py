"""Body segment parameters and segment lengths from published tables, by the table's name.

An *inertia table* gives each segment's share of body mass, where its centre of mass lies and its
radius of gyration, as fractions of a reference length of that segment. A *length table* gives
segment lengths as fractions of stature. They may be combined, at the price of a warning where
their end points differ.

Inertia tables
--------------
deleva1996
    de Leva [1]_, Table 4: the gamma-scanner data of Zatsiorsky and Seluyanov (100 men, 15 women,
    young and athletic) moved to joint centres. Female and male. Foot: heel to longest toe.
winter_dempster
    Winter [2]_, Table 4.1 (Dempster's cadavers), the same for both sexes. Foot: lateral malleolus
    to second metatarsal head.
dumas2007
    Dumas, Cheze and Verriest [3]_ with the thorax and abdomen of 2015. Female and male, centres
    of mass off the segment's axis. Foot: ankle joint centre to the mid metatarsal heads.

Length tables
-------------
deleva1996 (own segment lengths over the reference stature), drillis_contini1966 [4]_ (stature
fractions, both sexes), dumas2007 (mean lengths, recalled and not verified: flagged).

None of the originals was read; the data files name the transcriptions and grade every value.

References
----------
.. [1] de Leva P. (1996) J Biomech 29:1223-1230.
.. [2] Winter D.A., Biomechanics and Motor Control of Human Movement, Table 4.1.
.. [3] Dumas R., Cheze L., Verriest J.-P. (2007) J Biomech 40:543-553; thorax and abdomen 2015.
.. [4] Drillis R., Contini R. (1966), as in Winter, Fig. 4.1.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

from optimizer.body.tables import read_table

#: Name -> one-line description; the keys are the valid names.
INERTIA_TABLES: dict[str, str] = {
    "deleva1996": "de Leva 1996, Table 4 (gamma scanner, young adults, female and male)",
    "winter_dempster": "Winter, Table 4.1 (Dempster's cadavers, both sexes alike)",
    "dumas2007": "Dumas et al. 2007, thorax and abdomen 2015 (female and male)",
}
LENGTH_TABLES: dict[str, str] = {
    "deleva1996": "de Leva 1996, lengths over reference stature (female and male)",
    "drillis_contini1966": "Drillis and Contini 1966, stature fractions (both sexes alike)",
    "dumas2007": "Dumas et al. 2007, mean lengths (recalled, not verified)",
}
#: The lengths an inertia table is used with unless another length table is asked for.
DEFAULT_LENGTHS: dict[str, str] = {
    "deleva1996": "deleva1996",
    "winter_dempster": "drillis_contini1966",
    "dumas2007": "drillis_contini1966",
}

_DELEVA = {
    "trunk": "trunk:SUPR-MIDH",
    "thigh": "thigh:HJC-KJC",
    "shank": "shank:KJC-AJC",
    "foot": "foot:HEEL-TTIP",
}
_WINTER = {
    "trunk": "trunk:GTR-SJC",
    "thigh": "thigh:GTR-KJC",
    "shank": "leg:KJC-MMAL",
    "foot": "foot:LMAL-MT2",
}
_RECALLED = "recalled, not verified"


@dataclass(frozen=True, slots=True)
class SegmentParameters:
    """One segment's row. Every length is a fraction of the segment's reference length.

    `com` is the centre of mass from the proximal end (trunk: from the hip end; foot of
    deleva1996: from the heel; foot of the other tables: from the ankle) as (along the segment's
    axis towards the distal end, in front of it, outside it). For a foot given from the ankle the
    three are (forward, above, outside).
    """

    mass_fraction: float
    com: tuple[float, float, float]
    radius_ml: float
    source: str


@dataclass(frozen=True, slots=True)
class FootReference:
    """What the foot's fractions refer to.

    `origin` is "heel" or "ankle". `over_stature` is the reference length as a fraction of
    stature, None where it is the foot's own heel-to-toe length.
    """

    origin: str
    over_stature: float | None


@dataclass(frozen=True, slots=True)
class InertiaTable:
    """The body segment parameters of one table for one sex."""

    name: str
    segments: dict[str, SegmentParameters]
    foot: FootReference
    warnings: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class LengthTable:
    """Lengths as fractions of stature: thigh, shank, foot (heel to toe), trunk, ..."""

    name: str
    over_stature: dict[str, float]
    warnings: tuple[str, ...]


def _check(name: str, valid: dict[str, str], what: str) -> None:
    if name not in valid:
        raise ValueError(f"unknown {what} {name!r}; valid names: {', '.join(valid)}")


@cache
def _values(file: str, source_key: str, sex: str) -> dict[tuple[str, str], float]:
    return {
        (row["segment"], row["quantity"]): float(row["value"])
        for row in read_table(file)
        if row["source_key"] == source_key and row["sex"] in (sex, "both")
    }


def deleva_values(sex: str) -> dict[tuple[str, str], float]:
    """Every value of de Leva's table for one sex, by (segment with end points, quantity)."""
    return _values("anthropometry_deleva1996.csv", "deleva1996", sex)


def _deleva_row(sex: str, segment: str) -> SegmentParameters:
    table, label = deleva_values(sex), _DELEVA[segment]
    com = table[label, "com_from_proximal"]
    if segment == "trunk":  # the table counts from the suprasternale, we from the hips
        com = 1.0 - com
    return SegmentParameters(
        mass_fraction=table[label, "mass_fraction"],
        com=(com, 0.0, 0.0),
        # The table's "transverse" axis is the mediolateral one, about which a leg swings.
        radius_ml=table[label, "rg_cg_transverse_axis_ML"],
        source="deleva1996",
    )


def _winter_row(sex: str, segment: str) -> SegmentParameters:
    table, label = _values("anthropometry_winter.csv", "winter_table4.1", "both"), _WINTER[segment]
    radius = table.get((label, "rg_cg"))
    return SegmentParameters(
        mass_fraction=table[label, "mass_fraction"],
        com=(table[label, "com_from_proximal"], 0.0, 0.0),
        # Table 4.1 prints no radius for the trunk alone; de Leva's stands in. No leg sees it.
        radius_ml=_deleva_row(sex, "trunk").radius_ml if radius is None else radius,
        source="winter_table4.1",
    )


def _dumas_row(sex: str, segment: str) -> SegmentParameters:
    table = _values("anthropometry_dumas2007.csv", "dumas2007_2015", sex)
    if segment == "trunk":
        # Pelvis and torso refer to lengths that nobody here has read, so only the masses are
        # Dumas's; centre of mass and radius are de Leva's. No leg sees them.
        stand_in = _deleva_row(sex, "trunk")
        mass = table["pelvis", "mass_fraction"] + table["torso(thorax+abdomen)", "mass_fraction"]
        return SegmentParameters(mass, stand_in.com, stand_in.radius_ml, "dumas2007_2015")
    x, y, z = (table[segment, f"com_{axis}"] for axis in ("x_anterior", "y_up", "z_right"))
    return SegmentParameters(
        mass_fraction=table[segment, "mass_fraction"],
        com=(x, y, z) if segment == "foot" else (-y, x, z),
        radius_ml=table[segment, "rg_zz"],
        source="dumas2007_2015",
    )


@cache
def inertia_table(name: str, sex: str) -> InertiaTable:
    """The body segment parameters of table `name` for `sex` ("female" or "male").

    Raises
    ------
    ValueError
        If the name is unknown; the message lists the valid ones.
    """
    _check(name, INERTIA_TABLES, "inertia table")
    row = {"deleva1996": _deleva_row, "winter_dempster": _winter_row, "dumas2007": _dumas_row}[name]
    segments = {s: row(sex, s) for s in ("trunk", "thigh", "shank", "foot")}
    if name == "deleva1996":
        return InertiaTable(name, segments, FootReference("heel", None), ())
    if name == "winter_dempster":
        winter = _values("anthropometry_winter.csv", "winter_table4.1", "both")
        length = winter[_WINTER["foot"], "length_over_stature"]
        return InertiaTable(name, segments, FootReference("ankle", length), ())
    dumas = _values("anthropometry_dumas2007.csv", "dumas2007_2015", sex)
    length = dumas["foot", "mean_length"] / dumas["whole_body", "mean_stature"]
    note = (
        f"inertia table dumas2007: the length its foot values refer to ({length:.4f} of stature) "
        f"is {_RECALLED}"
    )
    return InertiaTable(name, segments, FootReference("ankle", length), (note,))


@cache
def length_table(name: str, sex: str) -> LengthTable:
    """Lengths of table `name` for `sex` as fractions of stature.

    Keys: "thigh", "shank", "foot" (heel to toe tip), "trunk" (hips to suprasternale),
    "ankle_height" (sole to ankle joint centre), "hip_width" (breadth over the hips). What a
    table does not give is Drillis and Contini's; their trunk is shoulder height less hip height
    (ANSUR II puts acromion and suprasternale at the same height to 0.2 % of stature).

    Raises
    ------
    ValueError
        If the name is unknown; the message lists the valid ones.
    """
    _check(name, LENGTH_TABLES, "length table")
    drillis = _values("anthropometry_lengths.csv", "drillis_contini1966", "both")
    body = {quantity: value for (_, quantity), value in drillis.items()}
    lengths = {
        "thigh": body["thigh_length_hip_to_knee"],
        "shank": body["leg_length_knee_to_ankle"],
        "foot": body["foot_length"],
        "trunk": body["shoulder_height"] - body["hip_height"],
        "ankle_height": body["ankle_height"],
        "hip_width": body["hip_width"],
    }
    warnings: tuple[str, ...] = ()
    if name == "deleva1996":
        table = deleva_values(sex)
        stature = table["whole_body", "reference_stature"]
        lengths |= {s: table[label, "length"] / stature for s, label in _DELEVA.items()}
    elif name == "dumas2007":
        dumas = _values("anthropometry_dumas2007.csv", "dumas2007_2015", sex)
        stature = dumas["whole_body", "mean_stature"]
        lengths |= {s: dumas[s, "mean_length"] / stature for s in ("thigh", "shank")}
        warnings = (f"length table dumas2007: its thigh and shank lengths are {_RECALLED}",)
    return LengthTable(name, lengths, warnings)


@cache
def asis_medial_fraction() -> float:
    """How far the hip joint centre lies inside the ASIS, over the inter-ASIS distance.

    0.14 for adults: Bell, Brand and Pedersen (1989) Hum Mov Sci 8:3-16, abstract; within 3.3 cm
    with 95 % certainty.
    """
    bell = _values("anthropometry_lengths.csv", "bell1989", "both")
    return bell["pelvis", "hip_joint_centre_medial_of_asis"]


@cache
def ansur(sex: str) -> dict[str, float]:
    """ANSUR II statistics of one sex by quantity ("waistbreadth_mean"), in m and kg.

    US Army personnel, 1986 women and 4082 men of 17-58 years, computed from the public raw data.
    """
    rows = read_table("anthropometry_ansur2.csv")
    unit = {"mm": 1e-3, "kg": 1.0, "count": 1.0}
    return {r["quantity"]: float(r["value"]) * unit[r["unit"]] for r in rows if r["sex"] == sex}
