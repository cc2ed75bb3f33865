"""What the lit face is worth to the eye, zone by zone, and what the maker should know of it."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from marquee.box.light_scene import Floats
from marquee.colour.constants import xyz_of_xy
from marquee.colour.difference import delta_e_2000
from marquee.colour.spaces import xyz_to_lab
from marquee.errors import Finding
from marquee.values import Drive, Transfer, ZoneLight, ZoneMap

# Classes of E_min/E_max over a zone: no published ratio for signs was found, so these are judgement
# (common practice, no source).
SPOTTY = 0.3
LEDS_VISIBLE = 0.6
# Light from other zones above this share, or a colour shift above this, is worth a word (common practice, no source).
BLEED_SHARE = 0.03
BLEED_DELTA_E = 2.0
# Shares below this are not listed one by one.
_LEAST_SHARE = 1e-5
# An element below this share of its zone's mean is as good as dark (common practice, no source).
DARK_SHARE = 0.02


def zone_lights(
    transfer: Transfer, zone_map: ZoneMap, drive: Drive, emitted_xyz_cd: Floats
) -> tuple[ZoneLight, ...]:
    """Return luminance, evenness and bleed of every zone over the elements under its apertures.

    Parameters
    ----------
    transfer : Transfer
        Illuminance per candela of each zone's LEDs.
    zone_map : ZoneMap
        The zones, in order of id.
    drive : Drive
        Gives the sign's white for the colour shift.
    emitted_xyz_cd : (zones, 3)
        XYZ of one LED of each zone as driven.
    """
    flat = transfer.lux_per_cd.reshape(len(zone_map.zones), -1)
    owner = transfer.zone_of_element.ravel()
    per_lux = transfer.diffuser_transmittance / np.pi
    lights = []
    for zone in zone_map.zones:
        at = np.flatnonzero(owner == zone.id)
        lux = flat[:, at].astype(float)
        white_cd_m2 = drive.white_intensity_cd * float(transfer.self_lux_per_cd[zone.id]) * per_lux
        place = (transfer.x_mm[at % len(transfer.x_mm)], transfer.y_mm[at // len(transfer.x_mm)])
        white = white_cd_m2 * xyz_of_xy(drive.white_xy)
        lights.append(_zone_light(zone.id, lux * per_lux, place, emitted_xyz_cd, white))
    return tuple(lights)


def _zone_light(
    zone: int, gain: Floats, place: tuple[Floats, Floats], emitted: Floats, white: Floats
) -> ZoneLight:
    if gain.shape[1] == 0:
        nowhere = (0.0, 0.0)
        return ZoneLight(
            zone=zone,
            luminance_cd_m2=0.0,
            min_over_mean=0.0,
            min_over_max=0.0,
            worst_mm=nowhere,
            bleed=0.0,
            bleed_from=(),
            bleed_delta_e_2000=0.0,
        )
    luminance = emitted[:, 1] @ gain
    mean, highest = float(luminance.mean()), float(luminance.max())
    worst = int(luminance.argmin())
    shares = emitted[:, 1] * gain.mean(axis=1) / mean if mean > 0 else np.zeros(len(emitted))
    others = [(k, float(shares[k])) for k in range(len(shares)) if k != zone]
    return ZoneLight(
        zone=zone,
        luminance_cd_m2=mean,
        min_over_mean=float(luminance[worst]) / mean if mean > 0 else 0.0,
        min_over_max=float(luminance[worst]) / highest if highest > 0 else 0.0,
        worst_mm=(float(place[0][worst]), float(place[1][worst])),
        bleed=float(sum(share for _, share in others)),
        bleed_from=tuple(
            sorted((o for o in others if o[1] > _LEAST_SHARE), key=lambda o: (-o[1], o[0]))
        ),
        bleed_delta_e_2000=_shift(zone, gain, emitted, white),
    )


def _shift(zone: int, gain: Floats, emitted: Floats, white: Floats) -> float:
    if white[1] <= 0:
        return 0.0
    per_zone = gain.mean(axis=1)[:, None] * emitted
    own, total = xyz_to_lab(per_zone[zone], white), xyz_to_lab(per_zone.sum(axis=0), white)
    return float(delta_e_2000(own, total))


def foreign_share(transfer: Transfer, emitted_xyz_cd: Floats) -> NDArray[np.float32]:
    """Return (ny, nx) the share of each element's light that comes from other zones' LEDs; 0 behind opaque face.

    Parameters
    ----------
    transfer : Transfer
        Illuminance per candela of each zone's LEDs.
    emitted_xyz_cd : (zones, 3)
        XYZ of one LED of each zone as driven.
    """
    luminous_cd = emitted_xyz_cd[:, 1].astype(np.float32)
    share = np.zeros(transfer.zone_of_element.shape, np.float32)
    row, column = np.nonzero(transfer.zone_of_element >= 0)
    owner = transfer.zone_of_element[row, column]
    own = transfer.lux_per_cd[owner, row, column] * luminous_cd[owner]
    total = np.tensordot(luminous_cd, transfer.lux_per_cd[:, row, column], axes=(0, 0))
    part = 1 - np.divide(own, total, out=np.ones_like(own), where=total > 0)
    share[row, column] = np.clip(part, 0, 1)
    return share


def light_findings(
    transfer: Transfer, zone_map: ZoneMap, lights: tuple[ZoneLight, ...], emitted_xyz_cd: Floats
) -> tuple[Finding, ...]:
    """Return remarks on zones that are dark, uneven or coloured by their neighbours, with what to do."""
    findings = []
    for zone, light in zip(zone_map.zones, lights, strict=True):
        where = f"zone {zone.id} {zone.name}"
        dark = _dark(transfer, light, float(emitted_xyz_cd[zone.id, 1]))
        if dark:
            findings.append(Finding(code="light.dark", where=where, message=dark))
        elif light.min_over_max < LEDS_VISIBLE and light.luminance_cd_m2 > 0:
            findings.append(
                Finding(code="light.uneven", where=where, message=_uneven(transfer, light))
            )
        if transfer.self_lux_per_cd[light.zone] <= 0:
            continue  # all its light is others', which walls are to keep from it
        if light.bleed > BLEED_SHARE or light.bleed_delta_e_2000 > BLEED_DELTA_E:
            message = _bleed(transfer, zone_map, light)
            findings.append(Finding(code="light.bleed", where=where, message=message))
    return tuple(findings)


def _dark(transfer: Transfer, light: ZoneLight, emitted_cd: float) -> str:
    if transfer.self_lux_per_cd[light.zone] <= 0:
        return "none of its own LEDs lights it; give its cell an LED, or join the cell to another"
    if emitted_cd > 0 and light.min_over_mean < DARK_SHARE:
        x_mm, y_mm = light.worst_mm
        return (
            f"at {x_mm:.0f}, {y_mm:.0f} mm it gets {light.min_over_mean:.1%} of its mean luminance; "
            "a wall shuts that part off from the zone's LEDs: put an LED there or open the wall"
        )
    return ""


def _uneven(transfer: Transfer, light: ZoneLight) -> str:
    kind = "spotty" if light.min_over_max < SPOTTY else "LEDs will show"
    x_mm, y_mm = light.worst_mm
    # A figure that rounds to the aim without reaching it is told to one digit more.
    digits = 3 if f"{light.min_over_max:.2f}" == f"{LEDS_VISIBLE:.2f}" else 2
    found = (
        f"{kind}: darkest to brightest {light.min_over_max:.{digits}f} (0.6 is wanted: common practice, no source), "
        f"darkest at {x_mm:.0f}, {y_mm:.0f} mm"
    )
    depth, pitch = transfer.depth_mm, transfer.pitch_mm
    if 0 < depth < pitch:
        return f"{found}; the pitch of {pitch:.1f} mm is wider than the depth of {depth:.1f} mm: make the box deeper or the pitch finer ('marquee light' tries both)"
    return f"{found}; the light falls off towards the cell's edge: place LEDs nearer to that spot ('marquee light' tries depth, pitch and paint)"


def _bleed(transfer: Transfer, zone_map: ZoneMap, light: ZoneLight) -> str:
    source, share = light.bleed_from[0]
    name = zone_map.zones[source].name
    found = (
        f"{light.bleed:.1%} of its light comes from other zones, most ({share:.1%}) from zone {source} {name}; "
        f"its colour shifts by {light.bleed_delta_e_2000:.1f} (CIEDE2000)"
    )
    if transfer.wall_gap_mm > 0:
        return f"{found}; make the wall gap smaller than {transfer.wall_gap_mm:g} mm"
    if transfer.notches:
        return f"{found}; light passes the notches where strips go under walls: cut them close and close the rest with white tape"
    return f"{found}; the walls between them do not close: look for an opening in barriers.png"
