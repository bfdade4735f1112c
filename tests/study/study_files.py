"""A small sound study on disk, to be spoilt in one place at a time."""

from __future__ import annotations

import csv
import io
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path

import pytest

from optimizer.errors import Flaw, InputError
from optimizer.study.load import load_study
from optimizer.study.model import Study

STUDY = """\
format = 1
title = "bench pump"
invented = true

[files]
parts = "parts.csv"
sites = "sites.csv"
lines = "lines.csv"

[wearer]
sex = "male"
stature_mm = 1750
mass_kg = 75

[task]
speed_m_s = 1.25

[limits]
device_mass_g = 3000

[limits.segment_mass_g]
foot = 400

[[rules]]
kind = "apart"
parts = ["pump", "controller"]
distance_mm = 50
"""
PARTS = """\
name,model,mass_g,volume_cm3,length_mm,width_mm,thickness_mm,sites,fixed_site,quantity,needs,power_w,price,notes
pump,,450,240,110,60,45,#vest,,,cool,20,,loud
controller,slow,95,80,90,60,18,vest_* !vest_chest,,1,dry,2,40,
controller,fast,120,90,95,65,18,vest_*,,1,dry,3,80.5,
actuator,,180,75,150,34,32,,shank_right,,,,,
valve,,35,15,42,22,22,*,,2,,1.5,,
"""
SITES = """\
name,segment,side,along_pct,front_mm,outside_mm,volume_cm3,max_mass_g,max_thickness_mm,holder_mass_g,contact_cm2,offers,comfort,tags,anchor,notes
vest_back,trunk,centre,45,-140,0,600,1200,60,50,220,dry cool,8,vest,,
vest_chest,trunk,right,72,125,80,120,200,25,20,,dry cool,4,vest,,
vest_low,trunk,,20,-130,0,,,,,,dry,,vest,,
shank_right,shank,right,94,10,55,100,320,45,100,40,cool,4,,,
foot_left,foot,left,45,45,0,40,110,20,15,40,cool,3,shoe,,
"""
LINES = """\
name,option,kind,from,to,size,bore_mm,mass_g_per_m,end_mass_g,max_length_mm,slack_mm,notes
supply,thin,air_tube,pump,valve,4x2.5,2.5,9.2,4,900,50,
supply,wide,air_tube,pump,valve,6x4,4,18.8,7,,50,
signal,,wire,controller,actuator,AWG 28,,5.5,,,,
"""


@dataclass
class StudyFiles:
    """The four files as text, written to `folder` when the study is loaded."""

    folder: Path
    texts: dict[str, str | bytes] = field(
        default_factory=lambda: {
            "study.toml": STUDY,
            "parts.csv": PARTS,
            "sites.csv": SITES,
            "lines.csv": LINES,
        }
    )

    def put(self, file: str, old: str, new: str) -> StudyFiles:
        """Replace one piece of a file, which must be there."""
        text = self.texts[file]
        assert isinstance(text, str) and old in text
        self.texts[file] = text.replace(old, new, 1)
        return self

    def cell(self, file: str, row: int, column: str, value: str) -> StudyFiles:
        """Replace one cell; the header is row 1."""
        text = self.texts[file]
        assert isinstance(text, str)
        table = list(csv.reader(io.StringIO(text, newline="")))
        table[row - 1][table[0].index(column)] = value
        out = io.StringIO()
        quoting = csv.QUOTE_ALL if "\r" in "".join(map("".join, table)) else csv.QUOTE_MINIMAL
        csv.writer(out, lineterminator="\n", quoting=quoting).writerows(table)
        self.texts[file] = out.getvalue()
        return self

    def row(self, file: str, text: str) -> StudyFiles:
        """Add a row at the end."""
        old = self.texts[file]
        assert isinstance(old, str)
        self.texts[file] = old + text + "\n"
        return self

    def write(self) -> Path:
        """Write all files; returns the study file."""
        for name, text in self.texts.items():
            data = text.encode() if isinstance(text, str) else text
            (self.folder / name).write_bytes(data)
        return self.folder / "study.toml"

    def load(self, overrides: Mapping[str, object] | None = None) -> Study:
        """Load the study, which must be sound."""
        return load_study(self.write(), overrides)

    def flaws(self, overrides: Mapping[str, object] | None = None) -> list[Flaw]:
        """Load the study, which must not be sound."""
        with pytest.raises(InputError) as caught:
            load_study(self.write(), overrides)
        assert caught.value.flaws
        return caught.value.flaws

    def flaw(self, overrides: Mapping[str, object] | None = None) -> Flaw:
        """The only flaw."""
        flaws = self.flaws(overrides)
        assert len(flaws) == 1, flaws
        return flaws[0]


def where(flaw: Flaw) -> tuple[str, int | None, str | None]:
    """File name, row and column."""
    return Path(flaw.origin.file).name, flaw.origin.row, flaw.origin.column
