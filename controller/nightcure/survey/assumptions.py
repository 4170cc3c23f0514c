"""What a survey had to assume and what it cannot know, in words with the shortest remedy."""

from __future__ import annotations

import numpy as np

from . import fit as _fit
from .disturbances import THIRDS
from .heat_and_cool import KNOWN_WITHIN
from .identified import Survey
from .log import Log

#: A test that begins this far below its shed is told so, K.
COLDER_K = 3.0
#: A dead time shows in rows no further apart than this in the minutes after a switching, s. Gains
#: go with one over the dead time, so that one that is only believed makes them anything.
DEAD_TIME_ROWS_S, DEAD_TIME_WITHIN_S = 60.0, 300.0
#: A heater's body at full power is about so much above its air (common practice, no source), K, and
#: a thermometer that sees it may show such a share of that.
HEATER_OVER_K, SEEN_SHARE = 100.0, 0.05
#: Residuals smaller than this are a thermometer's steps, not a door, °C rms.
UNSEEN_C = 0.05


def duration(seconds: float) -> str:
    """Minutes below two hours, else hours and minutes."""
    minutes = max(round(seconds / 60.0), 1)
    if minutes < 120:
        return f"{minutes} min"
    return f"{minutes // 60} h" + (f" {minutes % 60} min" if minutes % 60 else "")


def figures(value: float) -> str:
    """A number to three significant figures, never as a power of ten."""
    return f"{float(f'{value:.3g}'):.15g}" if abs(value) < 1e15 else f"{value:.3g}"


def _from_prior(found: Survey, unknown: int) -> bool:
    """Whether the log narrowed a belief by less than half."""
    sd = float(np.sqrt(found.fit.covariance[unknown, unknown]))
    return sd > 0.5 * float(found.problem.prior_sd[unknown])


def knows_dead_time(log: Log) -> bool:
    """Whether the log can tell how late the air answers its heater, and so give gains."""
    on = np.asarray(log.heat, dtype=np.float64) > 0.5
    switched_s = np.asarray(log.heat_time_s)[np.flatnonzero(np.diff(on, prepend=False))]
    rows_s = np.asarray(log.time_s)
    for at_s in switched_s:
        after = rows_s[(rows_s >= at_s) & (rows_s <= at_s + DEAD_TIME_WITHIN_S)]
        gaps = np.diff(np.concatenate([[at_s], after, [at_s + DEAD_TIME_WITHIN_S]]))
        if gaps.max() <= DEAD_TIME_ROWS_S:
            return True
    return False


def assumed_of(found: Survey, how: str, ambient_c: float) -> tuple[str, ...]:
    """What had to be assumed, one sentence each."""
    out = list(found.log.assumed)
    if how == "guessed":
        out.append(
            f"No ambient was noted: the shed is taken at {ambient_c:.1f} °C at the start, the "
            f"first air reading, as if the oven had stood cold; within 1.4 K. {_drifted(found)}"
        )
    elif how == "stated":
        out.append(
            f"The shed is taken at {ambient_c:.1f} °C at the start, as stated; within 1.4 K. "
            f"{_drifted(found)}"
        )
    out.extend(_disturbed(found))
    below_k = ambient_c - float(found.log.air_c[0])
    if how != "guessed" and below_k > COLDER_K:
        out.append(
            f"The test begins with the air {below_k:.1f} K colder than the shed: a box carried in "
            f"from the cold, or one of the two is wrong, and the loss with it."
        )
    if found.log.power_w is not None:
        out.append(
            f"The heater gives {found.log.power_w:g} W, as stated; 10 % less mains voltage would "
            f"be 19 % less, and every W/K and J/K with it."
        )
    out.append(
        f"The air's thermometer is taken not to see the heater, which no log tells: if it shows "
        f"{100 * SEEN_SHARE:g} % of the heater's own heat, the loss is really about "
        f"{100 * SEEN_SHARE * HEATER_OVER_K / found.rise_k.value:.0f} % larger. Hang it in the "
        f"heater's shade."
    )
    if found.problem.quantum_c >= 0.5:
        out.append(f"Readings are rounded to {found.problem.quantum_c:g} °C, as they look.")
    if _from_prior(found, _fit.RISE):
        out.append(
            "The steady rise is held by what home-made boxes are like, 25 K to 270 K at full power "
            "(common practice, no source), more than by this log."
        )
    return tuple(out)


def _drifted(found: Survey) -> str:
    """What became of a shed that nobody noted."""
    drift_k = float(found.fit.unknowns[_fit.DRIFT])
    if abs(drift_k) < 2.0 * float(np.sqrt(found.fit.covariance[_fit.DRIFT, _fit.DRIFT])):
        return "Whether it drifted since does not show; a noted shed would narrow the interval."
    way = "fell" if drift_k < 0.0 else "rose"
    return f"By this log it {way} by about {abs(drift_k):.1f} K until the end."


def _disturbed(found: Survey) -> list[str]:
    """Doors and gaps that the fit counts in, one sentence each."""
    out = []
    for d, number in zip(found.problem.disturbed, _fit.HEATS, strict=False):
        share = float(found.fit.unknowns[number])
        began = duration(d.from_s - float(found.log.time_s[0]))
        if d.by == "gap":
            if any(e.to_s == d.from_s for e in found.problem.disturbed if e.by == "gap"):
                continue
            rest = [e for e in found.problem.disturbed if e.by == "gap" and e.from_s >= d.from_s]
            ended = duration(rest[THIRDS - 1].to_s - float(found.log.time_s[0]))
            out.append(
                f"Nothing is noted from {began} to {ended} after the start, with the heater on "
                f"before or after it: what it gave meanwhile is fitted, too."
            )
            continue
        took = ""
        if found.log.power_w is not None:
            took = f", about {abs(share) * found.log.power_w * (d.to_s - d.from_s) / 1000.0:.0f} kJ"
        out.append(
            f"{began} after the start something took heat out of the box for "
            f"{duration(d.to_s - d.from_s)} or so{took}, as an opened door does: its rows are left "
            f"out, the heat is counted in."
        )
    return out


def leak_of(found: Survey, panels_w_per_k: float) -> str:
    """The surveyed loss beside what the panels lose by their U-value.

    Args:
        panels_w_per_k: U A of the panels alone.
    """
    loss = found.loss_w_per_k
    if loss is None:
        return "Without the heater's power the panels' loss has nothing to be compared with."
    told = f"The panels lose {panels_w_per_k:.2f} W/K by their U-value, the oven {loss.value:.2f}: "
    if loss.low > panels_w_per_k:
        rest = loss.value - panels_w_per_k
        share = 100.0 * rest / loss.value
        return f"{told}{rest:.2f} W/K ({share:.0f} %) leave by gaps, edges and the door."
    if loss.high < panels_w_per_k:
        return f"{told}less than panels can; see the sizes, the board and the heater's watts."
    return f"{told}no more than panels explain within the interval."


def unknown_of(found: Survey, half: float) -> tuple[str, ...]:
    """What this log cannot tell, and the shortest test that would."""
    out: list[str] = []
    if found.log.power_w is None:
        out.append(
            f"Loss and heat capacity: the heater's power is unknown, so only their ratios to it "
            f"are known (a rise of {found.rise_k.value:.0f} K at full power). The watts on its "
            f"plate, or from a plug-in meter, would settle it: say --power."
        )
    if half > 0.15:
        known = (
            f"The loss is known within ±{100 * half:.0f} % only: "
            if half <= KNOWN_WITHIN
            else "The loss is not known yet: "
        )
        if found.longer is None:
            out.append(known + "heat a day and cool a day, the shed noted too, for ±15 %.")
        elif found.longer.heat_s == 0:
            out.append(
                f"{known}go on noting the cool-down for {duration(found.longer.more_s)} more, as "
                f"often as so far, for ±15 %."
            )
        else:
            heat_s = found.longer.heat_s
            out.append(
                f"{known}go on noting for {duration(found.longer.more_s)} more, as often as so "
                f"far, for ±15 %: {duration(heat_s)} with the heater on again (off sooner if the "
                f"air nears its limit), then off. The shed noted too shortens it."
            )
    if not knows_dead_time(found.log):
        out.append(
            f"The regulator's gains: they go with the dead time, and rows further apart than "
            f"{DEAD_TIME_ROWS_S:g} s cannot know it, so that none are given and the oven keeps its "
            f"own. Note the air every 20 s for five minutes after switching on and off."
        )
    if found.order == 1 or _from_prior(found, _fit.MOULD):
        out.append(
            "How the heat capacity is shared between air and moulds: note every minute for the "
            "first ten after switching on and off, or a part's temperature besides."
        )
    if found.order < 3 or _from_prior(found, _fit.HEATER_LAG):
        out.append(
            "The heater's lag: note the air every 20 s for five minutes round switching on and off."
        )
    rms_c = float(np.sqrt(np.mean(found.fit.residuals_c**2)))
    if not found.white and rms_c > UNSEEN_C:
        out.append(
            "What else moved the air: the residuals are not white noise, so a door, a draught or a "
            "second time constant is in them; the intervals count it in."
        )
    return tuple(out)
