"""`limbtrim models`: what can be reckoned with, and how far to trust it."""

from __future__ import annotations

from optimizer.commands._run import Answer


def models() -> Answer:
    """Energy models, body tables and terrains."""
    from optimizer.body.anthropometry import (
        DEFAULT_LENGTHS,
        INERTIA_TABLES,
        LENGTH_TABLES,
        inertia_table,
        length_table,
    )
    from optimizer.energy import catalogue
    from optimizer.energy.tables import sources, terrains
    from optimizer.views.models import models_document, models_view

    def heed(*tables: tuple[str, ...]) -> tuple[str, ...]:
        return tuple(dict.fromkeys(text for table in tables for text in table))

    sexes = ("female", "male")
    body = {
        "Body segment parameters (masses, centres of mass, radii of gyration)": {
            name: (
                title,
                (
                    f"used with the lengths of {DEFAULT_LENGTHS[name]} unless others are asked for",
                    *heed(*(inertia_table(name, sex).warnings for sex in sexes)),
                ),
            )
            for name, title in INERTIA_TABLES.items()
        },
        "Segment lengths": {
            name: (title, heed(*(length_table(name, sex).warnings for sex in sexes)))
            for name, title in LENGTH_TABLES.items()
        },
    }
    cited = sources()
    grounds = [
        (t.name, t.title, t.factor, f"[{cited[t.source].number}] {cited[t.source].citation}")
        for t in terrains().values()
    ]
    document = models_document(catalogue(), body, grounds)
    return Answer(lambda: document, lambda: models_view(document))
