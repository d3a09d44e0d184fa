"""How uncertain is one reading, by what the survey document says of the instrument or a table."""

import math
from collections.abc import Mapping
from typing import Any

from flatcheck.errors import FlatcheckError, SurveyError, UnitsError
from flatcheck.fields import length_of, plain, quoted
from flatcheck.instrument import standard_uncertainty, statement
from flatcheck.units import parse_length


def uncertainty_of(section: Mapping[str, Any], unit: str, name: str) -> float:
    """Standard uncertainty of one reading [mm]: what is said of it, and the rounding to `reads_to`.

    What is said may be a maker's statement, such as "1/8 in at 30 ft"; one that grows with the
    distance holds at `sight`, the longest distance read. See `flatcheck.instrument` for the rules
    (JCGM 100:2008, 4.3.7: bounds and rounding are rectangular distributions). `name` is written
    before each key in messages.
    """
    if "uncertainty" not in section:
        raise SurveyError(
            f'{name}uncertainty is missing; say how far one reading may be off, as "1/32 in" '
            "(two readings in three fall within it)."
        )
    given = section["uncertainty"]
    if isinstance(given, bool) or not isinstance(given, str | int | float):
        raise SurveyError(f"{name}uncertainty = {quoted(given)} was expected to be a length.")
    sight = length_of(section.get("sight", 0), f"{name}sight", unit)
    step = length_of(section.get("reads_to", 0), f"{name}reads_to", unit)
    stated = _stated(plain(given), unit, sight, name)
    if stated < 0:
        raise SurveyError(f"{name}uncertainty must not be negative.")
    if step < 0:
        raise SurveyError(f"{name}reads_to must not be negative.")
    u_mm = math.hypot(stated, step / math.sqrt(12))
    if not u_mm > 0:
        raise SurveyError(f"{name}uncertainty must be larger than zero; no reading is exact.")
    return u_mm


def table_uncertainty(
    item: Mapping[str, Any], unit: str, instrument: Mapping[str, Any], instrument_unit: str
) -> float:
    """A table's own uncertainty; a step or a sight of its own alone goes with the instrument's."""
    name = f"table {item['file']}: "
    if "uncertainty" in item:
        return uncertainty_of(item, unit, name)
    own = {
        key: f"{length_of(item[key], f'{name}{key}', unit):.9f} mm"
        for key in ("reads_to", "sight")
        if key in item
    }
    return uncertainty_of({**instrument, **own}, instrument_unit, name if own else "instrument.")


def _stated(given: str, unit: str, sight_mm: float, name: str) -> float:
    """What a length or a maker's statement says of one reading, as a standard uncertainty [mm]."""
    try:
        return parse_length(given, unit)  # two readings in three fall within it
    except UnitsError:
        pass
    try:
        said = statement(given, unit)
        if not said.by_distance or sight_mm > 0:
            return standard_uncertainty(said, sight_mm)
    except FlatcheckError as error:
        raise SurveyError(f"{name}uncertainty: {error}") from None
    raise SurveyError(
        f"{quoted(given)} grows with the distance; say {name}sight, the longest distance that was "
        "read."
    )
