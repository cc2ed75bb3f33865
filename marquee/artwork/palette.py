"""A palette file to target colours.

Format (TOML, schema 1)::

    schema = 1
    name = "Brand guide"

    [[colour]]
    name = "Signal amber"
    value = "#ff9a1e"  # any CSS Color Module Level 4 text, or instead of it:

    [[colour]]
    name = "Deep blue"
    lab = [36.7, 40.0, -74.9]  # CIELAB as a print guide gives it
    white = "D50"  # the white it holds under; D50 or D65, must be stated

    [[colour]]
    name = "Lamp green"
    xyY = [0.30, 0.60, 0.25]  # chromaticity and luminance, white = 1
    white = "D65"  # optional for xyY, D65 if absent
    note = "measured on the old sign"

    [[colour]]
    name = "Sheet blue"
    xyz = [0.095, 0.086, 0.310]  # tristimulus values, white's Y = 1
    white = "D50"  # the white they hold under, must be stated

    [[colour]]
    name = "Enamel green"
    wavelengths_nm = [400, 410, 420]  # and so on, to 700 or beyond
    reflectance = [0.04, 0.04, 0.05]  # a spectrophotometer's row, shares from 0 to 1
    white = "D50"  # the light it is seen under, D50 (print viewing) if absent, or D65
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

from marquee.errors import InputError, MarqueeError
from marquee.tables.load import check_keys
from marquee.tables.maker_file import read_toml
from marquee.values import TargetColour

_SCHEMA = 1
_FILE_KEYS = ("schema", "name", "colour")
_FORMS = ("value", "lab", "xyY", "xyz", "reflectance")
_ROW_KEYS = ("name", *_FORMS, "wavelengths_nm", "white", "note")
# Forms that mean nothing without their white: neither is the likelier.
_NEED_WHITE = {
    "lab": 'add white = "D50" (print guides) or white = "D65"',
    "xyz": 'add white = "D50" or white = "D65", or its x,y',
}
_LONGEST_NAME = 80


def read_palette(path_text: str) -> tuple[TargetColour, ...]:
    """Return the colours of a palette file, in the file's order.

    Parameters
    ----------
    path_text : str
        Path of the TOML file.

    Raises
    ------
    InputError
        Unreadable, not TOML, another schema, an unknown key (naming the nearest), a name given twice, or
        a colour that cannot be read (naming the row).
    """
    where = path_text
    table = read_toml(Path(path_text), "palette file")
    check_keys(table, _FILE_KEYS, where)
    if table.get("schema") != _SCHEMA:
        raise InputError(
            where, f"schema is {table.get('schema')!r}, not {_SCHEMA}", f"write schema = {_SCHEMA}"
        )
    rows = table.get("colour")
    if not isinstance(rows, list) or not rows:
        raise InputError(where, "holds no colours", "add a [[colour]] table with name and value")
    targets: dict[str, TargetColour] = {}
    for number, row in enumerate(rows, 1):
        target = _target(row, f"{where} [[colour]] row {number}")
        if target.name.casefold() in targets:
            raise InputError(
                f"{where} [[colour]] row {number}",
                f"the name '{target.name}' is given twice",
                "give every colour its own name",
            )
        targets[target.name.casefold()] = target
    return tuple(targets.values())


def _target(row: object, where: str) -> TargetColour:
    if not isinstance(row, dict):
        raise InputError(where, "is not a table", "write [[colour]] with name and value below it")
    check_keys(row, _ROW_KEYS, where)
    name = row.get("name")
    if not isinstance(name, str) or not name.strip() or len(name) > _LONGEST_NAME:
        raise InputError(
            where, "has no usable name", f'add name = "…", up to {_LONGEST_NAME} characters'
        )
    where = f"{where} ({name.strip()})"
    form = _form(row, where)
    white = row.get("white", "D50" if form == "reflectance" else "D65")
    if not isinstance(white, str):
        raise InputError(where, f"white = {white!r} is not a name", 'write white = "D50" or "D65"')
    try:
        return _of_form(form, row, white, name.strip(), where)
    except MarqueeError as error:
        raise InputError(error.where, error.what, error.mend) from None


def _of_form(form: str, row: dict[str, Any], white: str, name: str, where: str) -> TargetColour:
    from marquee.colour import target

    if form == "reflectance":
        from marquee.colour.reflectance import target_from_reflectance

        return target_from_reflectance(
            row.get("wavelengths_nm", []), row[form], name, where, illuminant=white
        )
    if form == "value":
        if not isinstance(row["value"], str):
            raise InputError(where, "value is not text", 'write value = "#d6402b"')
        return target.target_from_text(row["value"], name, where)
    make = {
        "lab": target.target_from_lab,
        "xyY": target.target_from_xyY,
        "xyz": target.target_from_xyz,
    }[form]
    return make(row[form], white, name, where)


def _form(row: dict[str, Any], where: str) -> str:
    """Return the key that states the colour, once exactly one does and its white is settled."""
    forms = [key for key in _FORMS if key in row]
    if len(forms) != 1:
        found = f"states {' and '.join(forms)}" if forms else "states no colour"
        raise InputError(where, found, f"give exactly one of {', '.join(_FORMS)}")
    if forms[0] in _NEED_WHITE and "white" not in row:
        raise InputError(where, f"{forms[0]} without its white", _NEED_WHITE[forms[0]])
    if ("wavelengths_nm" in row) != (forms[0] == "reflectance"):
        raise InputError(
            where,
            "wavelengths_nm and reflectance belong together",
            "give one reflectance for each wavelength, or another form",
        )
    if forms[0] == "value" and "white" in row:
        raise InputError(
            where, "white beside value", "remove it: the CSS form already has its white"
        )
    return forms[0]
