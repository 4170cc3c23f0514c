// What to do after a trip, the first thing first; as hardware-notes/interlocks.md has it.

const PLUG = "Pull the heater's plug.";
const STEPS: Record<string, readonly string[]> = {
  "over-temperature": ["If it goes on rising, pull the heater's plug.", "Keep away from the parts until they have cooled.", "Look at the cut-out's setting, the fan and the relay."],
  exotherm: ["Do not open the box over fumes. Watch for smoke from the door.", "Smoke or a smell of burning: out, door shut, call the fire brigade; mains off only if it is on your way.", "Let it cool."],
  "heater-stuck-on": [PLUG, "Replace the relay, or the contactor where it says so. Do not try it again."],
  "control-sensor-lost": ["See whether the box is shut and the air's thermometer hangs in it.", "Look at its plug and cable."],
  "heater-without-effect": [PLUG, "If a cut-out has opened, find out why before you reset it.", "Look at lid, fuse and heater, and whether the air's thermometer hangs in the box."],
  "heater-on-too-long": ["See whether the box is shut.", "Look at the heater; it may be too weak for tonight."],
  "fan-failed": [PLUG, "Does the fan turn freely? Do not heat without it."],
  "night-too-long": ["See below what kept it waiting.", "Look how far the parts are."],
  "tick-late": ["Look at the board's supply, its card and what else runs on it."],
  "ledger-lost": ["Look at the disk's free space and at the card.", "If somebody took the file away, begin controller and page anew."],
  "time-went-back": ["Switch the board off and on."],
  "resume-refused": ["Look how far the parts are.", "After the reset, start what is left."],
};
/** Every trip that a controller knows. */
export const TRIPS = Object.keys(STEPS);

/** The steps of a trip, ending with its reset; of one this page does not know, the plug first. */
export const stepsAfter = (trip: string): readonly string[] => [
  ...(STEPS[trip] ?? [PLUG, "Do what its sentence says."]),
  "Once the cause is put right, reset the trip. Nothing heats before a new start.",
];
