"""The usual cautions, where what a letter tells touches work that can hurt someone.

Belongs here: what touches which hazard, and one caution a hazard. Does not belong here: how the
work is done; that is for licensed and trained people, the maker's manual and the local code.
"""

from __future__ import annotations

import polars as pl

# Words in what the letter tells, and classes of the cause, that touch the hazard; the caution.
HAZARDS: dict[str, tuple[str, tuple[str, ...], str]] = {
    "deliming": (
        r"(?i)\b(delim|descal|acid|scale|scaling|limed)",
        ("scale", "silica"),
        "Deliming uses acids: they burn skin and eyes and give off dangerous gas when they meet "
        "chlorine cleaners. Leave the work to trained people with gloves, eye protection and "
        "fresh air, by the maker's manual; local rules on chemicals and waste water come first.",
    ),
    "gas": (
        r"(?i)\b(gas|gases|burners?|igniters?|ignition|flames?|propane|pilots?)\b",
        ("gas",),
        "Work on gas is for licensed people alone: the supply is shut off before, and joints are "
        "tested for leaks after. The local fuel gas code comes first.",
    ),
    "steam": (
        r"(?i)\b(steam|steamers?|pressures?|boilers?|vessels?|cutouts?|gaskets?|relief)\b",
        ("corrosion", "gasket"),
        "Steam and hot water under pressure scald: a unit is shut down, cooled and free of "
        "pressure before it is opened. Pressure parts and relief valves are for licensed people, "
        "under the local code.",
    ),
    "electricity": (
        r"(?i)\b(electric\w*|contactors?|boards?|wires?|wiring|heaters?|circuits?|voltages?|fuses?"
        r"|lamps?|sensors?|relays?)\b",
        ("electrical", "control"),
        "Electricity kills: the supply is disconnected and locked out before a panel is opened. "
        "The work is for licensed people, under the local electrical code.",
    ),
    "water": (
        r"(?i)\b(plumb\w*|backflows?|drains?|(water|supply|spray|fill) lines?|treated water|inlets?"
        r"|(fill|inlet|drain|water) valves?|cartridges?|filters?|treatment (systems?|against)"
        r"|fill times)\b",
        ("installation", "sediment", "chlorine"),
        "Work on water connections, drains and water treatment is plumbing, for licensed people: a "
        "backflow preventer and an air gap keep what is in the unit out of the drinking water. The "
        "local plumbing code comes first.",
    ),
}


def cautions(text: pl.Expr, cause_class: pl.Expr) -> pl.Expr:
    """The cautions that a letter's text and its cause call for, as a list in a fixed order."""
    called_for = [
        pl.when(
            (text.str.contains(words) | cause_class.is_in(list(classes))).fill_null(False)
        ).then(pl.lit(caution))
        for words, classes, caution in HAZARDS.values()
    ]
    return pl.concat_list(called_for).list.drop_nulls()
