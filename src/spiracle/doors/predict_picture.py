"""A prediction as a picture: the curve, what is given, where the model comes from, and in words that nothing of it was measured."""

from __future__ import annotations

import json
from importlib.resources import files
from typing import Any

from spiracle.doors.predict_text import QUALITIES
from spiracle.refusals import Missing
from spiracle.sheets.cautions import STANDING
from spiracle.sheets.level_svg import level_svg
from spiracle.sheets.predict_shapes import Predicted
from spiracle.sheets.predicted import moment, picture_of, sums_words

PIXELS_PER_INCH = 160.0


def predict_png(made: Predicted) -> bytes:
    """One picture, as wide as a page and as high as it needs. Refused where the curve is withheld: there is nothing to draw."""
    import typst

    from spiracle.doors.pdf import _fonts

    if made.withheld:
        raise Missing("picture", made.withheld, "The text and the json show the sums.")
    folder = files("spiracle.doors") / "print"
    made_png: bytes = typst.compile(
        str(folder / "predict.typ"), root=str(folder), font_paths=_fonts(), ignore_system_fonts=True, format="png",
        ppi=PIXELS_PER_INCH, sys_inputs={"data": json.dumps(_data(made), ensure_ascii=False, sort_keys=True)},
    )  # fmt: skip
    return made_png


def _data(made: Predicted) -> dict[str, Any]:
    model, patient = made.model, made.patient
    name = f"{patient.name}, " if patient.name else ""
    of = (
        f"{model.population}, n = {'not known' if model.n is None else model.n}"
        if model.population
        else "parameters of the file"
    )
    peaks = [
        f"peak of {'the effect site' if p.site == 'effect' else 'plasma'}: {p.level.text} at {moment(p.at_min)}"
        for p in made.peaks
    ]
    return {
        "title": f"Prediction: {model.drug or 'drug not named'}",
        "subtitle": f"{name}{patient.species}, {patient.weight.text}",
        "says": made.says,
        "model": f"{model.id}: {of}",
        "quality": QUALITIES.get(model.quality, model.quality),
        "given": sums_words(made),
        "own": [c for c in made.cautions if c not in STANDING],
        "svg": level_svg(picture_of(made)),
        "facts": [*peaks, *(f.says for f in made.falls)],
        "band": "" if made.band is None else made.band.says,
        "memory": model.memory,
        "notes": [*model.cautions, *made.notes],
        "sources": [f"{c.citation} ({c.seen})" for c in model.sources],
        "cautions": list(STANDING),
    }
