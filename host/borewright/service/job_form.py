"""What is typed of a job in a form: each field checked, and refused by its name. Without Qt."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import UTC, date, datetime
from typing import TYPE_CHECKING, Any

from borewright.core.job_details import JobDetails
from borewright.errors import UseError
from borewright.service.declared_words import DeclaredWords, FieldError, reading_of
from borewright.service.declaring import checked_reading
from borewright.service.names import checked_line, checked_name
from borewright.service.shown_units import ShownUnits
from borewright.units import parse

if TYPE_CHECKING:
    from borewright.service.declaring import DeclaredReading
    from borewright.store import Store

__all__ = [
    "DECLARED_FIELDS",
    "FIELDS",
    "CheckedDeclared",
    "CheckedJob",
    "JobForm",
    "Wrong",
    "check_declared",
    "check_job_form",
    "form_of",
]

FIELDS: Mapping[str, str] = {
    "name": "name",
    "customer": "customer",
    "technician": "technician",
    "hours": "hours run",
    "distance": "distance run",
    "engine_temperature": "engine temperature",
    "oil_temperature": "oil temperature",
    "compression": "compression readings",
    "text": "remarks",
}
"""What the fields of a job are called."""

_NUMBERS = {
    "engine_temperature": "engine_temperature_k",
    "oil_temperature": "oil_temperature_k",
    "compression": "compression_gauge_pa",
}
"""Fields whose numbers are rounded for showing, and the key of each in the record."""

DECLARED_FIELDS: Mapping[str, str] = {
    "regulated": "regulated pressure",
    "cylinder_pressure": "cylinder pressure",
    "gauge_error": "gauge error",
    "read_to": "read to",
    "when": "day",
    "how": "how it was read",
    "who": "who says so",
    "restrictor_bore": "restrictor bore",
    "engine_temp": "engine temperature",
    "ambient": "surrounding air",
}
"""What the fields of a declared reading are called."""


@dataclass(frozen=True, slots=True)
class JobForm:
    """A job as it is typed: every text as it stands in its field. compression: "1 = 12.1 bar, 2 = 11.8 bar"."""

    name: str = ""
    customer: str = ""
    technician: str = ""
    hours: str = ""
    distance: str = ""
    engine_temperature: str = ""
    oil_temperature: str = ""
    compression: str = ""
    text: str = ""
    hot: bool = False


@dataclass(frozen=True, slots=True)
class Wrong:
    """Which field cannot be, and why, in a sentence."""

    field: str
    sentence: str


@dataclass(frozen=True, slots=True)
class CheckedJob:
    """A form that holds: what the record keeps."""

    name: str
    customer: str
    technician: str
    details: Mapping[str, Any] = field(default_factory=dict)


def check_job_form(
    _store: Store, form: JobForm, shown: JobForm | None = None, kept: Mapping[str, Any] | None = None
) -> CheckedJob | Wrong:
    """The form as the record keeps it, or the first field that cannot be.

    shown, kept: what stood in the form and in the record before it was changed: a number that was not touched stays what it was,
    and not what it was rounded to for showing.
    """
    untouched = {key for key in _NUMBERS if shown is not None and getattr(shown, key) == getattr(form, key)}
    before = {_NUMBERS[key]: (kept or {}).get(_NUMBERS[key]) for key in untouched}
    try:
        return CheckedJob(
            name=_of("name", lambda text: checked_name(text, "a job", FIELDS["name"]), form),
            customer=_of("customer", lambda text: checked_line(text, FIELDS["customer"]), form),
            technician=_of("technician", lambda text: checked_line(text, FIELDS["technician"]), form),
            details=_details(form, before),
        )
    except FieldError as error:
        return Wrong(error.field, str(error))


def _of(key: str, read: Any, form: object) -> Any:
    try:
        return read(getattr(form, key))
    except UseError as error:
        raise FieldError(str(error), key) from None


def _details(form: JobForm, before: Mapping[str, Any]) -> dict[str, Any]:
    said: dict[str, Any] = {"hours": form.hours, "distance": form.distance, "text": form.text, "hot": form.hot}
    for key in ("engine_temperature", "oil_temperature"):
        if getattr(form, key).strip() and f"{key}_k" not in before:
            said[f"{key}_k"] = _of(key, lambda text, key=key: _temperature_k(text, FIELDS[key]), form)
    if "compression_gauge_pa" not in before:
        said["compression_gauge_pa"] = _of("compression", _compression, form)
    said |= {key: value for key, value in before.items() if value is not None}
    for key, kept in said.items():
        try:
            JobDetails.from_dict({key: kept})
        except ValueError as error:
            shown = key.removesuffix("_k").removesuffix("_gauge_pa")
            sentence = str(error).removeprefix(f"{key}: ").removeprefix(f"{key}.")
            raise FieldError(f"{FIELDS.get(shown, shown)}: {sentence}", shown) from None
    return JobDetails.from_dict(said).as_dict()


def _temperature_k(text: str, name: str) -> float:
    try:
        return parse(text, "temperature")
    except UseError as error:
        raise UseError(f"{name}: {error}") from None


def _compression(text: str) -> dict[str, float]:
    """Readings by cylinder.

    >>> _compression("1 = 12.1 bar; 2=11.8 bar")
    {'1': 1210000.0, '2': 1180000.0}
    """
    found: dict[str, float] = {}
    for words in text.replace(";", ",").replace("\n", ",").split(","):
        if not words.strip():
            continue
        cylinder, equals, pressure = words.partition("=")
        if not equals or not cylinder.strip().isdecimal():
            raise UseError(f"{FIELDS['compression']}: say the cylinder and its reading, like 1 = 12.1 bar, 2 = 11.8 bar")
        try:
            found[str(int(cylinder))] = parse(pressure, "pressure_gauge")
        except UseError as error:
            raise UseError(f"{FIELDS['compression']}: {error}") from None
    return found


def form_of(store: Store, job_id: int, units: ShownUnits) -> JobForm:
    """The form with what the record keeps of a job. Raises StoreError where there is none."""
    job = store.get_job(job_id)
    try:
        details = JobDetails.from_dict(job.details)
    except ValueError:
        details = JobDetails()

    def temperature(t_k: float | None) -> str:
        return "" if t_k is None else units.text(t_k, "temperature", "°C", 1)

    readings = sorted(details.compression_gauge_pa.items())
    return JobForm(
        name=job.name,
        customer=job.customer_reference,
        technician=job.technician,
        hours=details.hours,
        distance=details.distance,
        engine_temperature=temperature(details.engine_temperature_k),
        oil_temperature=temperature(details.oil_temperature_k),
        compression=", ".join(f"{cylinder} = {units.text(pa, 'pressure_gauge', 'bar', 1)}" for cylinder, pa in readings),
        text=details.text,
        hot=details.hot,
    )


@dataclass(frozen=True, slots=True)
class CheckedDeclared:
    """A declared reading that holds, for service.declaring.declare."""

    reading: DeclaredReading


def check_declared(_store: Store, words: DeclaredWords, today: date | None = None) -> CheckedDeclared | Wrong:
    """The reading in SI, or the first field that cannot be."""
    try:
        reading = reading_of(words, DECLARED_FIELDS)
        for key in ("how", "who"):
            if not _of(key, lambda text, key=key: checked_line(text, DECLARED_FIELDS[key]), words):
                raise FieldError(f"{DECLARED_FIELDS[key]}: a declared reading has to say it", key)
        checked_reading(reading, today or datetime.now(UTC).astimezone().date())
    except FieldError as error:
        return Wrong(error.field, str(error))
    except UseError as error:
        return Wrong("", str(error))
    return CheckedDeclared(reading)
