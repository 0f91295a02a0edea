"""A reading taken elsewhere, as a person types it: each text with its unit becomes SI, or is refused by the name of its field."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING

from borewright.errors import UseError
from borewright.service.declaring import DeclaredReading
from borewright.units import parse

if TYPE_CHECKING:
    from borewright.core.restrictor_fit import BoreForm
    from borewright.units import Dimension

__all__ = ["DeclaredWords", "FieldError", "gauge_error_pa", "reading_of"]

_CLASS = re.compile(r"\s*(\d+(?:\.\d*)?|\.\d+)\s*%\s*of\s+(.+)", re.ASCII)


class FieldError(UseError):
    """What was typed in one field cannot be; field: its key."""

    def __init__(self, sentence: str, field: str) -> None:
        super().__init__(sentence)
        self.field = field


@dataclass(frozen=True, slots=True)
class DeclaredWords:
    """What is typed, with units; what is empty was not said. gauge_error: class and full scale, or a pressure."""

    regulated: str
    cylinder_pressure: str
    gauge_error: str
    read_to: str
    when: str
    how: str
    who: str
    one_gauge: bool = False
    restrictor_bore: str = ""
    bore_form: BoreForm = "unknown"
    engine_temp: str = ""
    ambient: str = ""


def reading_of(words: DeclaredWords, names: Mapping[str, str]) -> DeclaredReading:
    """The reading in SI. names: what each field is called where the person types it. Raises FieldError.

    >>> reading_of(DeclaredWords("80 psi", "72 psi", "2 psi", "1 psi", "yesterday", "cold", "ada"), {"when": "day"})
    Traceback (most recent call last):
    borewright.service.declared_words.FieldError: day 'yesterday' is no day; write it like 2026-03-31
    """

    def number(field: str, dimension: Dimension) -> float:
        try:
            return parse(getattr(words, field), dimension)
        except UseError as error:
            raise FieldError(f"{names.get(field, field)}: {error}", field) from None

    def maybe(field: str, dimension: Dimension) -> float | None:
        return number(field, dimension) if getattr(words, field).strip() else None

    def error_pa() -> float:
        try:
            return gauge_error_pa(words.gauge_error)
        except UseError as error:
            raise FieldError(f"{names.get('gauge_error', 'gauge_error')}: {error}", "gauge_error") from None

    def day() -> date:
        try:
            return date.fromisoformat(words.when.strip())
        except ValueError:
            name = names.get("when", "when")
            raise FieldError(f"{name} {words.when!r} is no day; write it like 2026-03-31", "when") from None

    return DeclaredReading(
        p_regulated_gauge_pa=number("regulated", "pressure_gauge"),
        p_cylinder_gauge_pa=number("cylinder_pressure", "pressure_gauge"),
        gauge_error_pa=error_pa(),
        read_to_pa=number("read_to", "pressure_gauge"),
        when=day(),
        how=words.how,
        who=words.who,
        one_gauge=words.one_gauge,
        restrictor_bore_m=maybe("restrictor_bore", "length"),
        bore_form=words.bore_form,
        t_engine_k=maybe("engine_temp", "temperature"),
        p_ambient_abs_pa=maybe("ambient", "pressure_absolute"),
    )


def gauge_error_pa(text: str) -> float:
    """Half-width of a gauge's error in Pa: class times full scale, or a pressure. Raises UseError.

    >>> round(gauge_error_pa("1.6 % of 160 psi"))
    17651
    """
    found = _CLASS.fullmatch(text)
    if found is None:
        return parse(text, "pressure_gauge")
    return float(found[1]) / 100.0 * parse(found[2], "pressure_gauge")
