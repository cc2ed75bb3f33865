"""What the maker states about the cut drawings."""

from __future__ import annotations

from typing import Literal

from pydantic import Field

from marquee.project_base import Length, LengthOrZero, Section


class CutSettings(Section):
    """The cut drawings: sheets, the tool's kerf, joints, and the paper template."""

    sheet_width_mm: Length = Field(
        default=600.0,
        alias="sheet_width",
        description="sheet the wall strips are cut from (common practice, no source: small laser beds take 600 x 400 mm)",
    )
    sheet_height_mm: Length = Field(
        default=400.0, alias="sheet_height", description="its other side"
    )
    sides: Literal["none", "cut"] = Field(
        default="none",
        description="the box's four sides among the flat parts, of the walls' sheet and as high as the box is deep",
    )
    sheet_margin_mm: LengthOrZero = Field(
        default=5.0,
        alias="sheet_margin",
        description="left free round the sheet's edge (common practice, no source: clamps and worn edges)",
    )
    part_gap_mm: Length = Field(
        default=3.0,
        alias="part_gap",
        description="material left between parts (common practice, no source: one thickness, so that it does not char through)",
    )
    kerf_mm: LengthOrZero = Field(
        default=0.15,
        alias="kerf",
        le=5,
        description="width the tool burns or saws away (common practice, no source: lasers in thin sheet 0.1 to 0.2 mm; cut a test square)",
    )
    compensate: Literal["walls", "all", "none"] = Field(
        default="walls",
        description="whose cut lines are set half a kerf into the waste: the wall strips', the face's too, or none",
    )
    joint_clearance_mm: LengthOrZero = Field(
        default=0.1,
        alias="joint_clearance",
        le=5,
        description="added to a slot's width beyond the wall's thickness (common practice, no source: slides on by hand)",
    )
    notch_width_mm: Length = Field(
        default=11.0,
        alias="notch_width",
        description="opening under a wall where an LED strip passes (common practice, no source: 10 mm strip and 0.5 mm a side)",
    )
    notch_height_mm: Length = Field(
        default=3.0,
        alias="notch_height",
        description="its height (common practice, no source: 1.6 mm LED, copper film, tape and solder)",
    )
    most_fold_degrees: float = Field(
        default=65.0,
        ge=0,
        le=120,
        description="a strip is scored and folded up to this; sharper corners are two strips (common practice, no source)",
    )
    bridge_width_mm: Length = Field(
        default=2.0,
        alias="bridge_width",
        description="bridge that holds an island of the face (common practice, no source: not below the sheet's thickness)",
    )
    bridges: Literal["propose", "cut"] = Field(
        default="propose",
        description="bridges drawn beside the cut lines, or left standing by the cut lines",
    )
    print_width_mm: LengthOrZero = Field(
        default=0.0,
        alias="print_width",
        description="widest piece your printer makes; wider printable walls are split into pieces. 0mm: one piece",
    )
    print_depth_mm: LengthOrZero = Field(
        default=0.0, alias="print_depth", description="its deepest; 0mm: as wide"
    )
    print_lap_mm: LengthOrZero = Field(
        default=8.0,
        alias="print_lap",
        le=50,
        description="how far printed pieces overlap past a cut, each with half the wall's thickness. 0mm: butted (judgement: twice this is glued)",
    )
    page: Literal["A4", "Letter"] = Field(
        default="A4", description="paper the template is printed on"
    )
    page_overlap_mm: Length = Field(
        default=10.0,
        alias="page_overlap",
        le=50,
        description="neighbouring pages of the template share this strip (common practice, no source)",
    )
