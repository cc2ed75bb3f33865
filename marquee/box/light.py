"""Light in the box: what every zone's LEDs lay under the diffuser, and the lit face as driven."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from marquee.box.light_beam import exponent_of
from marquee.box.light_face_grid import grid_for, zone_of_elements
from marquee.box.light_metrics import foreign_share, light_findings, zone_lights
from marquee.box.light_scene import Barrier, Floats, Notch, Ring, Scene
from marquee.box.light_solve import Illuminance, illuminate
from marquee.box.materials import box_optics
from marquee.errors import Finding
from marquee.project import BoxSettings
from marquee.values import Box, Chain, Drive, Light, Transfer, Wall, ZoneMap, read_only

# Notches where a strip passes under a wall, as the cut drawings make them unless told otherwise (common practice, no
# source): a 10 mm strip and half a millimetre a side; LED, copper film, tape and solder.
NOTCH_MM = (11.0, 3.0)


def transfer_light(
    zone_map: ZoneMap,
    box: Box,
    chain: Chain,
    settings: BoxSettings,
    notch_mm: tuple[float, float] = NOTCH_MM,
    patch_depths: float = 1 / 3,
) -> Transfer:
    """Return the illuminance under the diffuser per candela of each zone's LEDs.

    LEDs on the box's back whose intensity follows a power of the cosine by their half angle, exact shadows of the walls, interreflection between
    floor, walls and the diffuser's underside, light over walls that stop short of the diffuser and through the
    notches under them where strips pass. Not
    modelled: gloss, the spread of light inside the diffuser sheet (about its own thickness), the face.
    The grid's element is a tenth of the depth, finer on small faces. Where a wall stands under an aperture it is
    taken to be worked to an edge.

    Parameters
    ----------
    zone_map : ZoneMap
        Which zone's apertures lie where.
    box : Box
        Size, depth and walls [mm].
    chain : Chain
        LED places; those of zone -1 stay dark.
    settings : BoxSettings
        Paint and diffuser, or the maker's own measurements of them.
    notch_mm : (width, height)
        Of the notches where strips pass under walls; a height of 0 for none.
    patch_depths : float
        How wide the patches of floor and diffuser are in small boxes, in depths; a third has the stated accuracy.

    Raises
    ------
    QuantityError
        An LED outside the box, no depth, a reflectance of 1 or more, a diffuser thicker than the box.
    UnknownNameError
        Paint or diffuser is not in the materials table.
    """
    optics = box_optics(settings)
    scene = scene_of(zone_map, box, chain, settings, notch_mm)
    scene = replace(scene, patch_depths=patch_depths)
    light = illuminate(scene)
    zone_of_element = zone_of_elements(zone_map, scene.grid)
    lux = _past_wall_edges(light, scene, zone_of_element, box.wall_thickness_mm)
    lux_per_cd = lux.astype(np.float32)
    own = [
        float(lux_per_cd[zone.id][zone_of_element == zone.id].mean(dtype=float))
        if (zone_of_element == zone.id).any()
        else 0.0
        for zone in zone_map.zones
    ]
    return Transfer(
        x_mm=read_only(scene.grid.x_mm),
        y_mm=read_only(scene.grid.y_mm),
        lux_per_cd=read_only(lux_per_cd),
        zone_of_element=read_only(zone_of_element),
        diffuser_transmittance=optics.diffuser_transmittance,
        self_lux_per_cd=read_only(np.array(own)),
        findings=_placed_findings(scene, light.led_region),
        depth_mm=box.depth_mm,
        pitch_mm=chain.led_pitch_mm,
        wall_gap_mm=box.wall_gap_mm if box.walls else 0.0,
        notches=len(scene.notches),
    )


def _past_wall_edges(
    light: Illuminance, scene: Scene, zone_of_element: NDArray[np.int16], wall_mm: float
) -> Floats:
    """Return the illuminance with elements of apertures that a wall stands under lit by their own cell.

    Where colours touch, the wall is worked to an edge at the face, so its footprint hides less than it covers: such
    an element takes the light of the nearest one of its zone's cell, if that is no farther than the wall is thick.
    """
    from scipy.spatial import cKDTree

    lux = light.total_lux.copy()
    flat, owner, elements = lux.reshape(len(lux), -1), zone_of_element.ravel(), light.elements
    for zone in range(len(lux)):
        homes = light.led_region[(scene.led_cd[:, zone] > 0) & (light.led_region >= 0)]
        own = np.isin(elements.region, homes)
        astray = np.flatnonzero((owner == zone) & ~own)
        home = np.flatnonzero(own)
        if not astray.size or not home.size:
            continue
        found = cKDTree(elements.point[home]).query(elements.point[astray])
        distance, nearest = np.asarray(found[0]), np.asarray(found[1], np.intp)
        close = distance <= wall_mm + scene.grid.dx_mm + scene.grid.dy_mm
        flat[:, astray[close]] = flat[:, home[nearest[close]]]
    return lux


def scene_of(
    zone_map: ZoneMap,
    box: Box,
    chain: Chain,
    settings: BoxSettings,
    notch_mm: tuple[float, float] = NOTCH_MM,
) -> Scene:
    """Return the light model's scene: one channel a zone, its LEDs at 1 cd before any cap, walls as footprints."""
    optics = box_optics(settings)
    lit = np.flatnonzero(chain.zone >= 0)
    places = chain.places_mm[lit]
    led_cd = np.zeros((len(lit), len(zone_map.zones)))
    led_cd[np.arange(len(lit)), chain.zone[lit]] = chain.cap_gain
    rings = _footprints(box.walls, box.wall_thickness_mm)
    paint = optics.surface_reflectance
    return Scene(
        width_mm=box.width_mm,
        height_mm=box.height_mm,
        depth_mm=box.depth_mm,
        floor_reflectance=paint,
        rim_reflectance=paint,
        barrier_reflectance=paint,
        diffuser_reflectance=optics.diffuser_reflectance,
        led_xy_mm=places.reshape(-1, 2).astype(float),
        led_cd=np.repeat(led_cd, places.shape[1], axis=0),
        led_exponent=exponent_of(chain.half_angle_deg),
        grid=grid_for(box.width_mm, box.height_mm, box.depth_mm),
        barriers=(Barrier(footprints_mm=rings, gap_mm=box.wall_gap_mm),) if rings else (),
        notches=_notches(box, chain, notch_mm) if notch_mm[1] > 0 else (),
    )


def _notches(box: Box, chain: Chain, notch_mm: tuple[float, float]) -> tuple[Notch, ...]:
    """Return a notch wherever a row of strip crosses a wall's centre line."""
    import shapely

    if chain.arrangement != "strip" or not box.walls or not chain.count:
        return ()
    order = np.argsort(chain.row, kind="stable")
    first = np.flatnonzero(np.diff(chain.row[order], prepend=-1))
    last = np.append(first[1:], chain.count) - 1
    ends = order[np.stack([first, last], axis=1)[last > first]]
    # Runs are straight: their ends tell where they pass.
    strips = shapely.linestrings(np.stack([chain.x_mm[ends], chain.y_mm[ends]], axis=2))
    walls = [shapely.LineString(wall.path_mm) for wall in box.walls]
    crossings = shapely.intersection(np.asarray(strips, object).reshape(-1, 1), walls)
    return tuple(
        Notch(at_mm=(x, y), width_mm=notch_mm[0], height_mm=notch_mm[1])
        for x, y in shapely.get_coordinates(crossings.ravel()).tolist()
    )


def _footprints(walls: tuple[Wall, ...], thickness_mm: float) -> tuple[Ring, ...]:
    """Return rings that together cover the walls: one around each of their joints, so that corners are filled."""
    import shapely

    pieces = [piece for wall in walls for piece in _joints(wall)]
    if not pieces:
        return ()
    shapes = shapely.buffer(
        shapely.linestrings(
            np.concatenate(pieces),
            indices=np.repeat(np.arange(len(pieces)), list(map(len, pieces))),
        ),
        thickness_mm / 2,
        cap_style="flat",
        join_style="mitre",
        mitre_limit=2.0,
    )
    parts = shapely.get_parts(shapes)
    outlines = shapely.get_exterior_ring(parts[shapely.get_type_id(parts) == 3])
    xy, ring = shapely.get_coordinates(outlines, return_index=True)
    each = np.split(xy, np.flatnonzero(np.diff(ring)) + 1)
    return tuple(tuple((x, y) for x, y in one.tolist()) for one in each)


def _joints(wall: Wall) -> list[Floats]:
    """Return the stretches of a wall about each of its corners, or the whole of it if it has none."""
    path = [p for k, p in enumerate(wall.path_mm) if k == 0 or p != wall.path_mm[k - 1]]
    if len(path) < 2:
        return []
    closed = len(path) > 3 and path[0] == path[-1]
    ring = np.array([path[-2], *path] if closed else path, float)
    return [ring[k : k + 3] for k in range(max(1, len(ring) - 2))]


def _placed_findings(scene: Scene, led_region: NDArray[np.intp]) -> tuple[Finding, ...]:
    buried = np.flatnonzero(led_region < 0)
    if not buried.size:
        return ()
    x_mm, y_mm = scene.led_xy_mm[buried[0]]
    return (
        Finding(
            code="light.led-in-wall",
            where=f"LED at {x_mm:.1f}, {y_mm:.1f} mm",
            message=f"{buried.size} lit LED(s) stand inside a wall and light nothing; move them or the wall",
        ),
    )


def light_face(transfer: Transfer, zone_map: ZoneMap, drive: Drive) -> Light:
    """Return the lit face as driven: luminance of the diffuser and each zone's evenness and bleed.

    Luminance L = E τ / π of a Lambertian sheet, E the illuminance under it. A zone that runs the hue cycle is
    taken at the cycle's mean colour.

    Parameters
    ----------
    transfer : Transfer
        Illuminance per candela of each zone's LEDs.
    zone_map : ZoneMap
        Names of the zones.
    drive : Drive
        XYZ of one LED of each zone as driven, Y in cd.
    """
    emitted = emitted_xyz_cd(zone_map, drive)
    per_lux = transfer.diffuser_transmittance / np.pi
    xyz = np.tensordot(transfer.lux_per_cd, emitted.astype(np.float32), axes=(0, 0))
    luminance = (xyz * np.float32(per_lux)).astype(np.float32)
    zones = zone_lights(transfer, zone_map, drive, emitted)
    return Light(
        luminance_xyz=read_only(luminance),
        zones=zones,
        findings=light_findings(transfer, zone_map, zones, emitted),
        foreign_share=read_only(foreign_share(transfer, emitted)),
    )


def emitted_xyz_cd(zone_map: ZoneMap, drive: Drive) -> Floats:
    """Return (zones, 3) XYZ of one LED of each zone as driven, Y in cd; the mean over a hue cycle."""
    emitted = np.zeros((len(zone_map.zones), 3))
    for driven in drive.zones:
        emitted[driven.zone] = driven.intensity_xyz_cd
    steady = {driven.zone for driven in drive.zones}
    for zone in zone_map.zones:
        if drive.hue_cycle is not None and (zone.mode == "hue-cycle" or zone.id not in steady):
            emitted[zone.id] = np.mean(drive.hue_cycle.xyz_cd, axis=0)
    return emitted
