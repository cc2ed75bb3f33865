"""The usual cautions, in a few words. The tool's figures end at the supply's DC terminals."""

from __future__ import annotations

from marquee.values import Supply

_ALWAYS = (
    "MAINS: mains voltage kills. This plan ends at the supply's DC terminals: follow your local code and have"
    " mains wiring done or checked by a licensed electrician. Unplug, and prove dead, before you open anything.",
    "EARTH: connect a metal-cased supply to protective earth, bond metal sign parts as the code says, and feed it"
    " through a residual-current device (30 mA) or GFCI.",
    "FUSE: one fuse per feed, in the plus wire, at the supply's end. It protects the wire, not the strip: a short at"
    " the far end of a long strip may never open it, so never run the sign unattended before a supervised soak test.",
    "WIRE: never a thinner wire or a larger fuse than listed; crimp or solder every joint, give it strain relief, and"
    " check plugs: many small connectors carry 3 A or less.",
    "HEAT: a closed box gets warm. Let it run an hour at full, feel supply, joints and strip, and vent it if any is"
    " too hot to touch; mount the supply outside the light box with air around it.",
    "ENCLOSURE: keep open-terminal supplies behind a finger-safe cover, set a 115/230 V switch before first power,"
    " and keep flammable sheet and paint off hot parts.",
    "BEFORE POWER: check plus and minus with a meter at every joint, then the voltage at the first and the worst LED.",
)


def cautions_for(supply: Supply) -> tuple[str, ...]:
    """Return the cautions that go with a supply."""
    if supply.count == 1:
        return _ALWAYS
    return (
        *_ALWAYS,
        f"{supply.count} SUPPLIES: join their minus, never their plus; cut the plus rail where the plan says.",
    )
