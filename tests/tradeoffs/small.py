"""A small sound study on disk for the trade-off commands."""

from __future__ import annotations

from pathlib import Path

HEAD = """\
format = 1
title = "small"
invented = true
"""
BODY = """
[files]
parts = "parts.csv"
sites = "sites.csv"
lines = "lines.csv"

[wearer]
sex = "male"
stature_mm = 1750
mass_kg = 75

[limits]
device_mass_g = 3000
"""
PARTS = """\
name,model,mass_g,volume_cm3,length_mm,width_mm,thickness_mm,sites,fixed_site,quantity,needs,power_w,price,battery_wh
pump,plain,450,240,110,60,45,vest_* thigh_side,,,,20,100,
battery,small,300,150,90,60,30,vest_*,,,,,60,40
battery,large,520,260,120,70,40,vest_*,,,,,95,75
controller,,95,80,90,60,18,vest_* thigh_side shank_side,,,,2,40,
actuator,,180,75,150,34,32,,shank_side,,,8,210,
valve,,35,15,42,22,22,*,,,,1.5,,
"""
SITES = """\
name,segment,side,along_pct,front_mm,outside_mm,volume_cm3,max_mass_g,max_thickness_mm,holder_mass_g,comfort,tags
vest_back,trunk,centre,45,-140,0,400,1200,60,50,8,vest
vest_side,trunk,right,35,40,130,300,700,50,30,3,vest
thigh_side,thigh,right,45,10,80,200,500,50,40,9,leg
shank_side,shank,right,60,10,55,150,420,45,60,4,leg
"""
LINES = """\
name,option,kind,from,to,size,bore_mm,mass_g_per_m,end_mass_g,max_length_mm,slack_mm
supply,thin,air_tube,pump,valve,4x2.5,2.5,9.2,4,1500,50
signal,,wire,controller,actuator,AWG 28,,5.5,,,
feed,,wire,battery,controller,AWG 24,,9,,,
"""


def small(folder: Path, more: str = "", above: str = "") -> Path:
    """Write the study with more tables after it, or keys above the first; returns its path."""
    folder.mkdir(parents=True, exist_ok=True)
    for name, text in (("parts", PARTS), ("sites", SITES), ("lines", LINES)):
        (folder / f"{name}.csv").write_text(text, encoding="utf-8")
    path = folder / "study.toml"
    path.write_text(HEAD + above + BODY + more, encoding="utf-8")
    return path
