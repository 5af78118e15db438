// Azimuths as numbers of an index wheel, as raylab/stone/index_wheel.py has them, and the choice of a wheel.

import { el } from "./controls.js";

const WHOLE = 1e-6;
const BETWEEN = "*";

/** The teeth of the wheel in use; 0 for none. */
export const teethOf = (workbench) => workbench.state.wheel ?? 0;

/** The number of an azimuth (degrees), from 0 to less than the teeth; whole where it is next to a tooth. */
function indexOf(azimuth, teeth) {
  const index = (azimuth / 360) * teeth;
  const tooth = Math.round(index);
  return ((Math.abs(index - tooth) <= WHOLE ? tooth : index) % teeth + teeth) % teeth;
}

/** The same as it is shown: a tooth as a whole number, else two decimals and a mark. */
export function indexWords(azimuth, teeth) {
  const index = indexOf(azimuth, teeth);
  return Number.isInteger(index) ? String(index) : (Math.floor(100 * index + 0.5) / 100).toFixed(2) + BETWEEN;
}

/** The azimuth (degrees) of a number as it was typed; NaN for what is no number of this wheel. */
export function azimuthOf(words, teeth) {
  const index = Number(words.replace(BETWEEN, "").replace(",", ".").trim() || NaN);
  return index >= 0 && index <= teeth ? ((index / teeth) * 360) % 360 : NaN;
}

/** For a card: the number in words, or nothing without a wheel. */
export function besideAzimuth(workbench, azimuth) {
  const teeth = teethOf(workbench);
  return teeth ? ` (index ${indexWords(azimuth, teeth)} of ${teeth})` : "";
}

/** The list of wheels; the chosen one is remembered with the tab. Who shows numbers of it listens to "wheel". */
export function wheelChoice(workbench) {
  const choice = el("select", { id: "wheel" }, el("option", { value: 0 }, "none"),
    ...workbench.start.wheels.map((teeth) => el("option", { value: teeth }, `${teeth} teeth`)));
  choice.value = teethOf(workbench);
  choice.addEventListener("change", () => {
    workbench.state.wheel = Number(choice.value);
    workbench.keep();
    workbench.notify("wheel");
  });
  return el("label", { className: "row", title: "The index is azimuth / 360 times the teeth, counted from azimuth 0 counter-clockwise, seen from above" },
    el("span", {}, "Index wheel"), choice);
}
