"""An engine that is being edited: a document goes in, edits are made, a document comes out; faults by field. Without Qt.

The document is the truth, in the file's own units. What is shown is made from it, and a text is read only where a person has
changed it: switching the units to and fro changes no value. What cannot be read stays in the document as the text that it is, so
that it is the check of engine files, the same as for files, that says what is wrong with it.
"""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from copy import deepcopy
from dataclasses import dataclass
from typing import Any, Final

from borewright.app.pages.engine_fields import FIELDS, SECTIONS, Field
from borewright.core.engine import Engine
from borewright.errors import UseError
from borewright.service.engines import engine_from_document
from borewright.service.shown_units import ShownUnits
from borewright.service.view_engine import KeptEngine, faults_of
from borewright.units import UnitsError, in_unit, parse

__all__ = ["EngineEdit", "Faults", "new_document"]

_NUMBER: Final = re.compile(r"[+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?", re.ASCII)
_WHOLE: Final = re.compile(r"[+-]?\d{1,30}", re.ASCII)
_LARGEST_TURNED = 1e30  # a file may have a whole number that no float can hold
_LONGEST_SHOWN = 160  # of a sentence: what somebody wrote into a field may be ten thousand letters


@dataclass(frozen=True, slots=True)
class Faults:
    """What is wrong, each a sentence. at_field: by the field's key, in the order of the form. at_table: by the table of a section.

    elsewhere: by key, for what no field shows.
    """

    at_field: dict[str, str]
    at_table: dict[str, str]
    elsewhere: dict[str, str]

    @property
    def count(self) -> int:
        """How many there are."""
        return len(self.at_field) + len(self.at_table) + len(self.elsewhere)


def new_document() -> dict[str, Any]:
    """What a new engine begins with: nothing but the form of the file.

    >>> new_document()
    {'schema_version': 1}
    """
    return {"schema_version": 1}


class EngineEdit:
    """One engine in the form.

    >>> edit, metric, inch = EngineEdit(new_document()), ShownUnits(), ShownUnits({"length": "in"})
    >>> edit.put(FIELDS["bore_mm"], "3.4 in", metric)
    >>> edit.document, edit.text(FIELDS["bore_mm"], metric), edit.text(FIELDS["bore_mm"], inch)
    ({'schema_version': 1, 'bore_mm': 86.36}, '86.36', '3.4')
    >>> edit.put(FIELDS["rod_mm"], "long", metric)
    >>> edit.faults.at_field["rod_mm"], edit.faults.at_field["stroke_mm"]
    ("'long' is not a number with a unit; write the length like '0.040 in'", 'stroke_mm: must be given')
    """

    def __init__(
        self, document: Mapping[str, Any], *, opened: KeptEngine | None = None, version: int | None = None, unsaved: bool = False
    ) -> None:
        """opened: the engine of the library that it belongs to; version: of it, the one that is shown. unsaved: it is new."""
        self._document = deepcopy(dict(document))
        self._beginning = new_document() if unsaved else deepcopy(dict(document))
        self.opened = opened
        self.version = version
        self._faults: Faults | None = None

    # ------------------------------------------------------------ what it is

    @property
    def document(self) -> dict[str, Any]:
        """The document as it stands now, a copy of it."""
        return deepcopy(self._document)

    @property
    def name(self) -> str:
        """The name that is written in it, in at most 80 characters that can be shown."""
        name = str(self._document.get("name", "")).strip()
        return "".join(letter if letter.isprintable() else "?" for letter in name[:80])

    @property
    def changed(self) -> bool:
        """Whether it is not what was opened."""
        return self._document != self._beginning

    @property
    def is_older(self) -> bool:
        """Whether an older version than the newest was opened."""
        return self.opened is not None and self.version is not None and self.version != self.opened.newest.number

    @property
    def state_words(self) -> str:
        """How it stands, for the person.

        >>> EngineEdit(new_document(), unsaved=True).state_words
        'not in the library yet; ⚠ 7 things are missing or wrong'
        """
        said = []
        if self.opened is None:
            said.append("not in the library yet")
        elif self.opened.removed:
            said.append("removed from the library")
        if self.is_older:
            said.append(f"version {self.version}, not the newest")
        if self.changed:
            said.append("● changed, not saved")
        if count := self.faults.count:
            said.append(f"⚠ {count} {'thing is' if count == 1 else 'things are'} missing or wrong")
        return "; ".join(said) or "✓ as it is kept"

    @property
    def save_words(self) -> str:
        """What saving it would make of it."""
        if self.opened is not None and self.opened.name == self.name:
            return f"Save as version {len(self.opened.versions) + 1}"
        return "Save as a new engine"

    @property
    def engine(self) -> Engine | None:
        """The engine, as long as nothing is wrong with it."""
        if self.faults.count:
            return None
        try:
            return engine_from_document(self._document, "the engine")
        except UseError:
            return None

    @property
    def faults(self) -> Faults:
        """All that is wrong with it now."""
        if self._faults is None:
            self._faults = self._found()
        return self._faults

    def _found(self) -> Faults:
        at_field: dict[str, str] = {}
        at_table: dict[str, str] = {}
        elsewhere: dict[str, str] = {}
        tables = {section.table for section in SECTIONS if section.table}
        for key, reason in faults_of(self._document):
            whole = key.split("[", maxsplit=1)[0]
            sentence = _clipped(f"{key}: {reason}" if key else reason)
            if whole in FIELDS:
                at_field.setdefault(whole, self._said_of_unit(FIELDS[whole]) or sentence)
            elif whole in tables:
                at_table.setdefault(whole, sentence)
            else:
                elsewhere.setdefault(key, sentence)
        return Faults({key: at_field[key] for key in FIELDS if key in at_field}, at_table, elsewhere)

    def _said_of_unit(self, field: Field) -> str:
        """What the reading of units says of a text that is no quantity."""
        value = self.value(field)
        if field.dimension is None or not isinstance(value, str):
            return ""
        try:
            parse(value if _NUMBER.fullmatch(value) is None else f"{value} {field.file_unit}", field.dimension)
        except UnitsError as error:
            return _clipped(str(error))
        return ""

    def was_kept(self, kept: KeptEngine, sent: Mapping[str, Any]) -> None:
        """The library has kept it; what was changed since it was sent there is still to be saved."""
        document = deepcopy(kept.newest.document)
        if self._document == sent:
            self._document = deepcopy(document)  # without spaces around the name
        self._beginning = document
        self.opened = kept
        self.version = kept.newest.number
        self._faults = None

    # ------------------------------------------------------------ one field

    def value(self, field: Field) -> Any:
        """What the document has for a field, None where it has nothing."""
        return _value_in(self._document, field)

    def text(self, field: Field, units: ShownUnits) -> str:
        """A field as it is shown in those units, without the unit."""
        return _shown(field, self.value(field), units)

    def put(self, field: Field, text: str, units: ShownUnits) -> None:
        """Take what a person wrote into a field. A number without a unit is in the unit that is shown; no text, no key."""
        if text == self.text(field, units):
            return
        beginning = _value_in(self._beginning, field)
        if text == _shown(field, beginning, units):  # written back as it was: then it is that value, to the last digit
            self.put_value(field, deepcopy(beginning))
            return
        written = text if field.kind == "text" else text.strip()
        self.put_value(field, _read(field, written, units) if written else None)

    def put_value(self, field: Field, value: Any) -> None:
        """Put a value into the document as it is; None takes the key away."""
        before = self.value(field)
        if value == before and not isinstance(before, bool):  # 86.0 for 86 is no change, 1 for true is one
            return
        self._faults = None
        *tables, last = field.path
        table = self._document
        for part in tables:
            if not isinstance(table.get(part), dict):
                table[part] = {}
            table = table[part]
        if value is not None:
            table[last] = value
            return
        table.pop(last, None)
        if tables and not table:
            self._document.pop(tables[0], None)

    def leave_out_table(self, table: str) -> None:
        """Take a table of the file away with all that is in it."""
        self._faults = None
        self._document.pop(table, None)

    def leave_out_unknown(self) -> None:
        """Take away what is no key of an engine file, for instance what is misspelt."""
        self._faults = None
        tables = {field.path[0] for field in FIELDS.values() if len(field.path) > 1}
        for key, value in list(self._document.items()):
            if key in tables and isinstance(value, dict):
                for inner in [inner for inner in value if f"{key}.{inner}" not in FIELDS]:
                    del value[inner]
            elif key not in tables and key not in FIELDS and key != "schema_version":
                del self._document[key]


def _value_in(document: Mapping[str, Any], field: Field) -> Any:
    table: Any = document
    for part in field.path:
        if not isinstance(table, Mapping) or part not in table:
            return None
        table = table[part]
    return table


def _shown(field: Field, value: Any, units: ShownUnits) -> str:
    if value is None:
        return ""
    if field.kind in ("order", "angles") and isinstance(value, list):
        return "  ".join(_plain(item) for item in value)
    if field.dimension is not None and _is_number(value):
        unit = units.unit(field.dimension, field.file_unit)
        if unit != field.file_unit and abs(value) < _LARGEST_TURNED:
            return f"{in_unit(value * field.file_unit_si, field.dimension, unit):.7g}"
    return _plain(value)


def _read(field: Field, text: str, units: ShownUnits) -> Any:
    match field.kind:
        case "number":
            return _number(text)
        case "quantity" if field.dimension is not None:
            return _quantity(field, text, units.unit(field.dimension, field.file_unit))
        case "order":
            return [int(part) if _WHOLE.fullmatch(part) else part for part in re.split(r"[\s,;–—-]+", text) if part]
        case "angles":
            return [_number(part) for part in re.split(r"[\s,;°]+", text) if part]
        case _:
            return text


def _number(text: str) -> float | int | str:
    """The number of a text, or the text itself where it is none."""
    if _WHOLE.fullmatch(text):
        return int(text)
    if _NUMBER.fullmatch(text) and math.isfinite(value := float(text)):
        return value
    return text


def _quantity(field: Field, text: str, shown: str) -> float | int | str:
    """The number in the file's unit, or the text itself where it is none."""
    plain = _NUMBER.fullmatch(text) is not None
    if plain and shown == field.file_unit:
        return _number(text)
    assert field.dimension is not None
    try:
        value = parse(f"{text} {shown}" if plain else text, field.dimension) / field.file_unit_si
    except UnitsError:
        return text
    rounded = float(f"{value:.12g}")  # 3.4 in is 86.36 mm, whatever the conversion makes of the sixteenth digit
    return int(rounded) if rounded.is_integer() and abs(rounded) < 1e9 else rounded


def _plain(value: Any) -> str:
    if isinstance(value, float):
        return f"{value:.12g}"
    return str(value) if isinstance(value, str | int) else repr(value)


def _is_number(value: Any) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool)


def _clipped(sentence: str) -> str:
    """A sentence without what cannot be shown, and not longer than fits beside a field."""
    shown = "".join(letter if letter.isprintable() else "?" for letter in sentence)
    return shown if len(shown) <= _LONGEST_SHOWN else f"{shown[:100]} … {shown[-55:]}"
