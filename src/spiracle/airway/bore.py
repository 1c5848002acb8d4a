"""The tube as a cylinder: what gas it holds, what a cut takes away, and why French is not millimetres of bore."""

from __future__ import annotations

from math import pi

from spiracle.refusals import OutOfRange

NARROWEST_MM, WIDEST_MM = 1.5, 20.0


def tube_dead_space_ml(id_mm: float, length_mm: float) -> float:
    """Gas held inside a tracheal tube, connector to tip [mL].

    Parameters: inside diameter [mm], 1.5 to 20; length [mm], 0 to 700. Other values are refused.
    Source: right circular cylinder, pi/4 * d**2 * l. 13 cm of 7.5 to 8 mm tube held 6.0 +/- 0.6 mL when measured:
    Shah 2004, doi 10.1097/01.CCM.0000104205.96219.D6 (bore not stated there).
    Leaves out: connector, curve, and secretions, which narrow the bore in use.
    >>> round(tube_dead_space_ml(8.0, 130), 2)
    6.53
    """
    if not NARROWEST_MM <= id_mm <= WIDEST_MM:
        raise OutOfRange("tube inside diameter", f"{id_mm:g} mm is not a tracheal tube's bore.", "Give 1.5 to 20 mm.")
    if not 0 <= length_mm <= 700:
        raise OutOfRange("tube length", f"{length_mm:g} mm is not a tracheal tube's length.", "Give 0 to 700 mm.")
    return pi / 4 * id_mm**2 * length_mm / 1000


def cut_saves_ml(id_mm: float, cut_mm: float) -> float:
    """Dead space taken away by cutting `cut_mm` off a tube [mL]: the cylinder that is no longer there.

    >>> round(cut_saves_ml(4.0, 40), 2)
    0.5
    """
    return tube_dead_space_ml(id_mm, cut_mm)


def od_mm_of_french(french: float) -> float:
    """Outside diameter [mm] of a French size: a third of a millimetre for each French, by definition of the gauge.

    >>> od_mm_of_french(9)
    3.0
    """
    return french / 3


def french_of_od_mm(od_mm: float) -> float:
    """French size of an outside diameter [mm]. Never the bore, and never the circumference.

    >>> round(french_of_od_mm(6.8), 1)
    20.4
    """
    return od_mm * 3


def circumference_mm(od_mm: float) -> float:
    """Way round a tube [mm], pi times its outside diameter: 4.7 % more than its French number, and not the same thing.

    >>> round(circumference_mm(3.0), 2)
    9.42
    """
    return pi * od_mm


def od_for_trachea_mm(trachea_mm: float, fraction: float) -> float:
    """Outside diameter [mm] of a tube that fills `fraction` of the trachea's inner diameter [mm].

    Source: lateral radiograph at the thoracic inlet, 8 Beagles, 0.6, 0.7 and 0.8 compared: Shin 2018,
    doi 10.1016/j.vaa.2017.10.002. Refused outside 2 to 45 mm or 0.4 to 0.95.
    >>> od_for_trachea_mm(15.0, 0.7)
    10.5
    """
    if not 2 <= trachea_mm <= 45:
        raise OutOfRange("tracheal diameter", f"{trachea_mm:g} mm is not the bore of a dog's or cat's trachea.",
                         "Give the inner diameter at the thoracic inlet, like 11 mm.")  # fmt: skip
    if not 0.4 <= fraction <= 0.95:
        raise OutOfRange("fraction of the trachea", f"{fraction:g} is outside 0.4 to 0.95.")
    return trachea_mm * fraction


def brachycephalic_id_mm(predicted_mm: float, shift_mm: float) -> float:
    """Inside diameter [mm] for a brachycephalic dog: the weight's size less the mean by which weight over-sizes.

    Source: mean 1.3, SD 0.98 mm, Vet Rec 2020;186:157, doi 10.1136/vr.105065.
    >>> round(brachycephalic_id_mm(8.0, 1.3), 1)
    6.7
    """
    return predicted_mm - shift_mm


def half_width_95_mm(sd_mm: float) -> float:
    """Half of the band that holds 95 % of dogs when predicted minus used size has this SD [mm]; normal law, 1.96 SD.

    >>> round(half_width_95_mm(0.84), 2)
    1.65
    """
    return 1.96 * sd_mm


def trachea_mm_from_back(back_cm: float) -> float:
    """Inner vertical tracheal diameter [mm] expected from occipital bump to tail base [cm], dog. An estimate only.

    Source: 20 cadavers, r2 0.61; read 2.76 +/- 1.85 mm too small against radiographs of 16 live dogs: Khiao-in 2024,
    doi 10.5455/javar.2024.k780. Refused outside 25 to 120 cm.
    >>> round(trachea_mm_from_back(60), 2)
    8.46
    """
    return 0.203 * _back(back_cm) - 3.724


def trachea_length_cm_from_back(back_cm: float) -> float:
    """Tracheal length [cm] expected from occipital bump to tail base [cm], dog. An estimate; r2 0.84.

    Source: as trachea_mm_from_back; read 2.07 +/- 1.81 cm too short in live dogs.
    >>> round(trachea_length_cm_from_back(60), 2)
    16.99
    """
    return 0.346 * _back(back_cm) - 3.773


def back_cm_of_trachea_mm(trachea_mm: float) -> float:
    """The same line read the other way: occipital bump to tail base [cm] that goes with a diameter [mm].

    >>> round(back_cm_of_trachea_mm(9.33), 1)
    64.3
    """
    return (trachea_mm + 3.724) / 0.203


def _back(back_cm: float) -> float:
    if not 25 <= back_cm <= 120:
        raise OutOfRange("occipital bump to tail base", f"{back_cm:g} cm is outside what the line was drawn for.",
                         "Give 25 to 120 cm.")  # fmt: skip
    return back_cm
