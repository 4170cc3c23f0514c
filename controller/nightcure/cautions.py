"""What a person must have read once before an oven is heated; hardware-notes say more on each."""

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
        "distance.",
    ),
    Caution(
        "An independent cut-out",
        "An over-temperature cut-out that knows nothing of this program opens the heater's circuit "
        "by itself and stays open until a person resets it. Fit it near the top of the box, and "
        "test it before the first night.",
    ),
    Caution(
        "Fire",
        "Foam burns, and so does resin. Keep a metre around the box free of whatever burns, hang "
        "a smoke alarm over it and one where you sleep, put the extinguisher by the door. If it "
        "burns: out, door shut, call; leave the box closed.",
    ),
    Caution(
        "Vapour",
        "Wet polyester and vinyl ester give off styrene, which burns from 0.9 % in the air on. Let "
        "parts air outside until they are tacky, vent the box to the outside, and put no solvent "
        "in it. Use black heat only, and nothing that can spark inside.",
    ),
    Caution(
        "Peroxide",
        "Catalyst, and rags with it, stay away from the oven: from about 60 °C on it decomposes "
        "faster and faster by itself. Never mix it with accelerator directly. In the eye: water at "
        "once for a quarter of an hour, then a doctor.",
    ),
    Caution(
        "Electricity",
        "Mains can kill. Earth every metal part, use a residual-current device and a fuse that "
        "fits the heater, and keep relay, plugs and joints outside the box. Pull the plug before "
        "you open anything.",
    ),
    Caution(
        "Do not leave the first heats",
        "Watch the first heats from beginning to end. Nobody sleeps in the building of an oven "
        "that has not earned it.",
    ),
    Caution(
        "Your local rules come first",
        "Codes, landlord and insurer may ask for more than these notes, and some of the work may "
        "be for a licensed electrician only. Where they differ from this, they prevail.",
    ),
)
