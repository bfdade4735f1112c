from __future__ import annotations

from collections.abc import Callable, Sequence

import pytest

from optimizer.body.wearer import Wearer, build_wearer
from optimizer.errors import Flaw, InputError, Origin
from optimizer.lines.graph import build_graph
from optimizer.study.model import AddedArc, RoutesSpec, Site, WearerSpec


@pytest.fixture(scope="session")
def wearer() -> Wearer:
    return build_wearer(WearerSpec("male", 1.75, 75.0, origin=Origin("study.toml")))


@pytest.fixture(scope="session")
def site() -> Callable[..., Site]:
    def make(name: str, segment: str, side: str, along: float, **given: object) -> Site:
        values: dict = {
            "front_m": 0.0, "outside_m": 0.0, "volume_m3": 1e-3, "max_mass_kg": 5.0,
            "max_thickness_m": 0.1, "holder_mass_kg": 0.0, "contact_m2": None,
            "offers": frozenset(), "comfort": None, "tags": frozenset(), "anchor": None,
            "origin": Origin("garment.csv", 7),
        }  # fmt: skip
        return Site(name, segment, side, along, **{**values, **given})

    return make


@pytest.fixture(scope="session")
def garment(site: Callable[..., Site]) -> list[Site]:
    """Sites all over the body, each of a side with its mirror image next to it."""
    made = [
        site("vest_back", "trunk", "centre", 0.75, front_m=-0.14),
        site("vest_front", "trunk", "centre", 0.6, front_m=0.14),
    ]
    for side in ("left", "right"):
        made += [
            site(f"belt_{side}", "trunk", side, 0.3, front_m=0.02, outside_m=0.17),
            site(f"thigh_cuff_{side}", "thigh", side, 0.55, outside_m=0.09),
            site(f"calf_{side}", "shank", side, 0.4, front_m=-0.06),
            site(f"shin_{side}", "shank", side, 0.6, front_m=0.06),
            site(f"heel_{side}", "foot", side, 0.05, front_m=0.01),
        ]
    return made


@pytest.fixture(scope="session")
def added() -> Callable[..., AddedArc]:
    def make(tail: str, head: str, length_m: float | None = None, **given: object) -> AddedArc:
        values: dict = {
            "slack_m": 0.0, "bend_rad": 0.0, "carried_by": None, "origin": Origin("study.toml", 30)
        }  # fmt: skip
        return AddedArc(tail, head, length_m, **{**values, **given})

    return make


@pytest.fixture(scope="session")
def flaws_of(wearer: Wearer) -> Callable[..., list[Flaw]]:
    def find(sites: Sequence[Site] = (), **routes: object) -> list[Flaw]:
        with pytest.raises(InputError) as caught:
            build_graph(wearer, sites, RoutesSpec(**routes))
        return caught.value.flaws

    return find
