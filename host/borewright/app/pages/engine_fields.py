"""The fields of the engine page: what each key of an engine file is called, and how it is written and read. Without Qt.

What a value may be stands in the check of engine files alone. Here is only how it is shown.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final, Literal

from borewright.units import Dimension

__all__ = ["FIELDS", "PLACE_WORDS", "SECTIONS", "Field", "Kind", "Section", "field_of"]

Kind = Literal["line", "text", "number", "quantity", "choice", "order", "angles", "places"]


@dataclass(frozen=True, slots=True)
class Field:
    """One key of an engine file. key: with a dot where it stands in a table.

    dimension, file_unit, file_unit_si: of a quantity, the unit that the file's number is in and how much SI it is. unit_words: what
    stands behind a plain number. choices: values with the words for them. unstated: what holds while nothing is written.
    """

    key: str
    label: str
    kind: Kind
    tip: str
    dimension: Dimension | None = None
    file_unit: str = ""
    file_unit_si: float = 1.0
    unit_words: str = ""
    choices: tuple[tuple[str, str], ...] = ()
    unstated: str = ""

    @property
    def path(self) -> tuple[str, ...]:
        """The keys that lead to it.

        >>> field_of("maker_limits.source").path
        ('maker_limits', 'source')
        """
        return tuple(self.key.split("."))


@dataclass(frozen=True, slots=True)
class Section:
    """What stands under one heading. table: the table of the file that is all of it. cycle: the only cycle that it belongs to.

    always: it is always open, since an engine cannot do without.
    """

    heading: str
    note: str
    fields: tuple[Field, ...]
    table: str = ""
    cycle: str = ""
    always: bool = False


def _length(key: str, label: str, tip: str, unstated: str = "") -> Field:
    return Field(key, label, "quantity", tip, "length", "mm", 1e-3, unstated=unstated)


def _degrees(key: str, label: str, tip: str, unstated: str) -> Field:
    return Field(key, label, "number", tip, unit_words="°", unstated=unstated)


PLACE_WORDS: Final = {
    "intake": "intake",
    "exhaust": "exhaust",
    "breather": "breather",
    "coolant": "coolant",
    "neighbours": "neighbouring cylinders",
    "outside": "outside of the engine",
    "exhaust_port": "exhaust port",
    "crankcase": "crankcase",
    "other_chambers": "other crank chambers",
}

SECTIONS: Final[tuple[Section, ...]] = (
    Section(
        "The engine",
        "Write a length with or without its unit: 86, 86 mm, 3.386 in.",
        (
            Field("name", "Name", "line", "What the engine is called in the library and on reports, at most 80 characters."),
            Field(
                "cycle",
                "Cycle",
                "choice",
                "A four-stroke cylinder fires every 720° of crank, a two-stroke one every 360°.",
                choices=(("four-stroke", "four-stroke"), ("two-stroke", "two-stroke")),
            ),
            Field("firing_order", "Firing order", "order", "Each cylinder number once, in the order of firing, like 1 3 4 2."),
            _length("bore_mm", "Bore", "Diameter of the cylinder."),
            _length("stroke_mm", "Stroke", "Twice the throw of the crank."),
            _length("rod_mm", "Rod length", "Between the centres of the rod's eyes."),
            _length(
                "pin_offset_mm",
                "Pin offset",
                "Piston pin to the centre line of the bore, positive towards the side that the crank pin is on "
                "while the piston goes down.",
                "0",
            ),
            Field(
                "compression_ratio",
                "Compression ratio",
                "number",
                "Largest volume over the piston by the smallest. Give this or the clearance volume, not both.",
                unit_words=": 1",
            ),
            Field(
                "clearance_cm3",
                "Clearance volume",
                "quantity",
                "All the volume over the piston at TDC: chamber, gasket, deck height, bowl, valve pockets. Give this or the ratio.",
                "volume",
                "cm³",
                1e-6,
            ),
        ),
        always=True,
    ),
    Section(
        "Uneven firing",
        "Left out, the cylinders fire at even distances. One of the two ways to say it is enough.",
        (
            Field(
                "firing_intervals_deg",
                "Firing intervals",
                "angles",
                "Crank degrees from each cylinder in the firing order to the next one; the last, back to the first. "
                "Their sum is the cycle.",
                unit_words="°",
                unstated="even",
            ),
            Field(
                "compression_tdc_deg",
                "TDC angles",
                "angles",
                "The crank angle in the cycle of the compression TDC of cylinder 1, 2, and so on.",
                unit_words="°",
                unstated="even",
            ),
        ),
    ),
    Section(
        "Counting and turning",
        "",
        (
            Field(
                "numbering",
                "How the cylinders are counted",
                "line",
                "In words for the person who connects the hose, like: number 1 at the timing belt.",
            ),
            Field(
                "running_direction",
                "Turns",
                "choice",
                "Seen at the end of the crank that carries the encoder.",
                choices=(("clockwise", "clockwise"), ("anticlockwise", "anticlockwise")),
                unstated="clockwise",
            ),
        ),
    ),
    Section(
        "Cooling",
        "",
        (
            Field(
                "cooling",
                "Cooled by",
                "choice",
                "With liquid cooling the coolant is a place where air that leaks is looked for.",
                choices=(("liquid", "liquid"), ("air", "air"), ("oil", "oil")),
                unstated="liquid",
            ),
            Field(
                "coolant_cap_kpa",
                "Coolant cap",
                "quantity",
                "The pressure that the cap is rated for, over the surrounding air; the limit of a stop-off test there.",
                "pressure_gauge",
                "kPa",
                1e3,
            ),
        ),
    ),
    Section(
        "How it stands before you",
        "",
        (
            Field(
                "decompression",
                "Decompression device",
                "choice",
                "A device that lifts a valve for starting. An automatic one weakens the squeeze by hand.",
                choices=(("none", "none"), ("manual", "worked by hand"), ("automatic", "automatic")),
                unstated="none",
            ),
            Field(
                "valve_gear",
                "Valve gear",
                "choice",
                "Not fitted: the valves do not move while the crank is turned.",
                choices=(("fitted", "fitted"), ("not_fitted", "not fitted")),
                unstated="fitted",
            ),
            Field(
                "assembly",
                "What is there",
                "choice",
                "How much of a four-stroke is there: a block without its head under a plate, or a head without its block on one.",
                choices=(("complete", "complete"), ("short_block", "short block"), ("bare_head", "bare head")),
                unstated="complete",
            ),
        ),
    ),
    Section(
        "Valve events",
        "From the maker's data. Left out, values usual for road engines are assumed. All four, or none.",
        (
            _degrees(
                "valve_events.intake_opens_before_tdc_deg", "Intake opens before TDC", "Before the TDC of overlap.", "15 assumed"
            ),
            _degrees(
                "valve_events.intake_closes_after_bdc_deg",
                "Intake closes after BDC",
                "After the BDC at which compression begins.",
                "55 assumed",
            ),
            _degrees(
                "valve_events.exhaust_opens_before_bdc_deg",
                "Exhaust opens before BDC",
                "Before the BDC at which the working stroke ends.",
                "55 assumed",
            ),
            _degrees(
                "valve_events.exhaust_closes_after_tdc_deg", "Exhaust closes after TDC", "After the TDC of overlap.", "15 assumed"
            ),
        ),
        table="valve_events",
        cycle="four-stroke",
    ),
    Section(
        "Port events",
        "From the maker's data; they are symmetrical about TDC. Left out, usual values are assumed. Both, or none.",
        (
            _degrees(
                "port_events.exhaust_opens_after_tdc_deg",
                "Exhaust port opens after TDC",
                "Where the piston uncovers it.",
                "95 assumed",
            ),
            _degrees(
                "port_events.transfer_opens_after_tdc_deg",
                "Transfer ports open after TDC",
                "Where the piston uncovers them; later than the exhaust port.",
                "115 assumed",
            ),
        ),
        table="port_events",
        cycle="two-stroke",
    ),
    Section(
        "Places to look for air",
        "Left out: every place that an engine of this kind has.",
        (
            Field(
                "places",
                "Places",
                "places",
                "Where air that leaks can be looked for on this engine.",
                choices=tuple(PLACE_WORDS.items()),
            ),
        ),
    ),
    Section(
        "The maker's limits",
        "Shown beside the result with their source. The maker's manual comes first.",
        (
            Field("maker_limits.leakage_percent", "Leakage at most", "number", "Of one cylinder.", unit_words="%"),
            Field(
                "maker_limits.spread_percent",
                "Spread at most",
                "number",
                "Between the tightest cylinder and the leakiest.",
                unit_words="%",
            ),
            Field("maker_limits.source", "Where it is written", "line", "Manual, edition, page."),
        ),
        table="maker_limits",
    ),
    Section("Notes", "", (Field("notes", "Notes", "text", "Anything else, at most 2000 characters."),)),
)

FIELDS: Final[dict[str, Field]] = {field.key: field for section in SECTIONS for field in section.fields}


def field_of(key: str) -> Field:
    """The field of a key of an engine file. Raises KeyError where no field shows it.

    >>> field_of("bore_mm").label
    'Bore'
    """
    return FIELDS[key]
