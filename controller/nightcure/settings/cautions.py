"""What a person must have read once before an oven is heated: the one text of it.

The page shows it, hardware-notes/cautions.md prints it (`as_markdown`), the notes say more on each.
"""

from __future__ import annotations

from typing import NamedTuple

#: What a ledger calls it that somebody has accepted them.
ACCEPTED_AS = "cautions"


class Caution(NamedTuple):
    """One caution: what it is about, and two or three sentences."""

    title: str
    text: str


CAUTIONS = (
    Caution(
        "This is no safety device",
        "nightcure regulates, watches and switches off, and it can fail as any program can. What "
        "protects house and people is what you fit beside it: a cut-out, a fuse, a smoke alarm, "
        "distance. No board and no box was tested by its makers.",
    ),
    Caution(
        "Nobody sleeps there",
        "Nobody sleeps in, over or attached to a building in which an oven heats, and no oven "
        "earns an exception. Watch the first heats from beginning to end.",
    ),
    Caution(
        "An independent cut-out",
        "An over-temperature cut-out that knows nothing of this program opens the heater's circuit "
        "by itself and stays open until a person resets it. Its bulb is in the box, near the top; "
        "its contacts are outside. Set it to 70 °C at the most and test it, with the plug out, "
        "before the first night and every year; look before each night that the bulb hangs in its "
        "place.",
    ),
    Caution(
        "Watts that cannot cook the box",
        "Choose the heater so that, stuck on, it brings the box to 70 °C at the most on the "
        "warmest day on which you use it. More only with two independent cut-outs. Lay nothing "
        "over the box: what keeps more heat in makes it hotter.",
    ),
    Caution(
        "Fire",
        "Foam burns, and so does resin; the smoke is poisonous. Build of PIR or phenolic board, "
        "never of polystyrene. Keep a metre around the box free of whatever burns, hang an alarm "
        "rated for the cold over it, linked to where you sleep, put the extinguisher by the door. "
        "If it burns: out, door shut, call; leave the box closed.",
    ),
    Caution(
        "Vapour",
        "Wet polyester and vinyl ester give off styrene, which burns from 0.9 % in the air on. Let "
        "parts gel and air in a warm, ventilated place outside the box; a wet part goes in only "
        "under as much ducted fresh air as the estimate says. Nothing above a quarter of the "
        "burning limit starts. Use black heat only, and nothing that can spark inside.",
    ),
    Caution(
        "Peroxide",
        "Catalyst, and rags with it, stay away from the oven: from about 60 °C on it decomposes "
        "faster and faster by itself. Never mix it with accelerator directly. In the eye: water at "
        "once for a quarter of an hour, then a doctor.",
    ),
    Caution(
        "Electricity",
        "Mains can kill. Take the path without mains wiring, or have it wired by somebody "
        "licensed. Earth every metal part, use a residual-current device and a fuse that fits the "
        "heater, in both poles on a plug that can be turned, and keep relay, plugs and joints "
        "outside the box. Pull the plug before you open anything.",
    ),
    Caution(
        "It goes on by itself",
        "After a power cut the controller takes a night up again when the power returns, if the "
        "parts stayed warm. Where nobody may be near then, fit an arming switch in the contactor's "
        "coil circuit.",
    ),
    Caution(
        "Your local rules come first",
        "Codes, landlord and insurer may ask for more than these notes, and some of the work may "
        "be for a licensed electrician only. Where they differ from this, they prevail.",
    ),
)


def as_markdown() -> str:
    """The cautions as they stand in hardware-notes/cautions.md."""
    return "\n\n".join(f"**{c.title}.** {c.text}" for c in CAUTIONS)
