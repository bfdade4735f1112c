"""What trials taught, in tables and as a document.

Document "limbtrim.learned/1": "slopes" with prior, posterior, 95 % interval and whether the trials
told anything of each; "fit" (noise, residual, left-out error, the same with the published slopes);
"surprise" (p-value of the published slopes); "baselines"; "warnings"; "file" written.
"""

from __future__ import annotations

import numpy as np
from rich.console import Group, RenderableType
from rich.text import Text

from optimizer.energy.own import SLOPES
from optimizer.learn.learn import Learned
from optimizer.views.cautions import CAUTIONS, cautions_view, warnings_view
from optimizer.views.json import Document, head
from optimizer.views.quantity import number
from optimizer.views.table import Cell, Column, section, table
from optimizer.views.words import Words, counted

LEARNED = "limbtrim.learned/1"


def learn_page(found: Learned, written: str | None) -> Group:
    """The answer of `learn`."""
    rows: list[list[Cell] | None] = [
        [
            name,
            number(float(found.prior_mean[i]), 3),
            number(2 * float(found.prior_sd[i]), 3),
            number(float(found.mean[i]), 4),
            number(float(found.interval[i, 0]), 4),
            number(float(found.interval[i, 1]), 4),
            "yes" if found.learned[i] else "no",
        ]
        for i, name in enumerate(SLOPES)
    ]
    columns = (
        Column("place", words=True),
        Column("published", "W/kg per kg"),
        Column("+-", "2 sd"),
        Column("learned", "W/kg per kg"),
        Column("from", "95 %"),
        Column("to", "95 %"),
        Column("told", words=True),
    )
    better = found.left_out_rms < found.left_out_prior_rms
    blocks: list[RenderableType | None] = [
        Words(
            f"{counted(len(found.trials), 'trial')} of {counted(len(found.subjects), 'subject')}, "
            f"{counted(len(found.baselines), 'pair')} of subject and speed",
            "head",
        ),
        Text(""),
        section(
            "What added mass costs: W per kg of wearer, per kg added",
            table(columns, rows),
            Text(""),
            Words(
                f"A trial scatters by {number(found.noise, 3)} W/kg. Predicting each trial from "
                f"all the others is off by {number(found.left_out_rms, 3)} W/kg (rms); with the "
                f"published slopes as they stand, by {number(found.left_out_prior_rms, 3)}.",
                "good" if better else "tight",
            ),
            Words(
                "The published slopes "
                + (
                    "agree with these trials"
                    if found.surprise >= 0.01
                    else "do not agree with these trials"
                )
                + f" (p = {number(found.surprise, 3)})."
            ),
        ),
        warnings_view(found.warnings),
    ]
    if written is not None:
        blocks.append(
            section(
                "Written",
                Words(written),
                Words(
                    f'Use it in a study: [energy] leg = "file:{written}", and trunk likewise; or '
                    f"--set energy.leg=file:{written}"
                ),
            )
        )
    blocks.append(cautions_view())
    return Group(*(block for block in blocks if block is not None))


def learn_document(found: Learned, written: str | None) -> Document:
    """The answer of `learn` as a document."""
    sd = np.sqrt(np.diag(found.covariance))
    return {
        **head(LEARNED),
        "trials": len(found.trials),
        "subjects": list(found.subjects),
        "slopes": [
            {
                "place": name,
                "prior_mean_w_per_kg_per_kg": float(found.prior_mean[i]),
                "prior_sd": float(found.prior_sd[i]),
                "mean_w_per_kg_per_kg": float(found.mean[i]),
                "sd": float(sd[i]),
                "interval_95": [float(v) for v in found.interval[i]],
                "told": found.learned[i],
            }
            for i, name in enumerate(SLOPES)
        ],
        "covariance": [[float(v) for v in row] for row in found.covariance],
        "baselines": [
            {"subject": subject, "speed_m_s": speed, "w_per_kg": float(value)}
            for (subject, speed), value in zip(
                found.baselines, found.baseline_w_per_kg, strict=True
            )
        ],
        "fit": {
            "noise_w_per_kg": found.noise,
            "residual_rms_w_per_kg": found.fit_rms,
            "left_out_rms_w_per_kg": found.left_out_rms,
            "left_out_published_rms_w_per_kg": found.left_out_prior_rms,
        },
        "surprise_p": found.surprise,
        "file": written,
        "warnings": list(found.warnings),
        "cautions": list(CAUTIONS),
    }
