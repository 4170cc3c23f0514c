// Stop: one press, one confirmation.
import { post } from "../api";
import { Asked } from "../sheet";
import type { Live } from "../types";

export function StopSheet({ live, onClose }: { live: Live | null; onClose: () => void }) {
  const resting = live?.phase === "idle" || live?.phase === "done";
  return (
    <Asked
      title={resting ? "Nothing runs" : "Stop this night?"}
      yes="Stop now"
      no={resting ? "Back" : "Let it go on"}
      busyWord="Stopping …"
      danger
      what={() => post("commands/stop")}
      onClose={onClose}
    >
      <p>
        {resting
          ? "The oven rests and its heater is off, by the controller's last word. You may stop it all the same."
          : "The heater goes off at once and the night ends. What has cured so far stays cured."}
      </p>
    </Asked>
  );
}
