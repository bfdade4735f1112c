"""`limbtrim learn`: an energy model from one's own treadmill trials."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

from optimizer.commands._run import Answer, check_choices


def learn(
    trials_path: str,
    *,
    write_to: str | None = None,
    title: str | None = None,
    form: str = "segment_curve",
    noise_w_per_kg: float | None = None,
) -> Answer:
    """Update the published slopes with trials, and write the model where asked to."""
    from optimizer._write import write_whole
    from optimizer.energy.own import FORMS
    from optimizer.errors import Flaw, InputError, Origin
    from optimizer.learn.learn import learn as work
    from optimizer.learn.model_file import model_text
    from optimizer.learn.trials import read_trials
    from optimizer.study.files import display, writing
    from optimizer.views.learn import learn_document, learn_page

    check_choices(("--form", form, FORMS))
    ignored: list[str] = []
    with writing("--write", write_to):
        trials = read_trials(trials_path, ignored)
    found = work(trials, noise_w_per_kg=noise_w_per_kg)
    found = replace(found, warnings=(*ignored, *found.warnings))
    if write_to is not None:
        text = model_text(found, title or f"Own trials, {Path(trials_path).stem}", form)
        try:
            write_whole(write_to, text)
        except OSError as error:
            said = f"{write_to}, which cannot be written: {error.strerror or error}"
            flaw = Flaw(Origin("--write"), said, "a file in a folder you may write")
            raise InputError([flaw]) from error
    written = None if write_to is None else display(write_to)
    return Answer(lambda: learn_document(found, written), lambda: learn_page(found, written))
