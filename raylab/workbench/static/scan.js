// What is known of a facet table: its cut, and of a scan the noise, which the user may state. The planes that are found depend on it, so
// that the file is then read again.

import { el } from "./controls.js";

const CAUSE = {
  stated: "As stated.",
  found: "Estimated from the mesh; state it here to have the planes found with yours.",
  unknown: "Not known: the mesh has too few points on a facet. Without it the report counts the errors of the device alone; state it where you know it.",
};

export class ScanFacts {
  constructor(workbench) {
    this.workbench = workbench;
    this.cut = el("p", { className: "note", id: "cut-known" });
    this.noise = el("input", { type: "number", id: "noise", min: 0, max: 1000, step: "any", autocomplete: "off" });
    this.noise.addEventListener("change", () => { // see files.js; then what counts is shown, also where the number was refused
      workbench.notify("noise", { file: this.scan.file, noise: this.noise.value, done: () => this.write() });
    });
    this.cause = el("p", { className: "note", id: "noise-cause" });
    this.of = el("div", {}, el("label", { className: "row" }, el("span", {}, "Noise of the scan, µm"), this.noise), this.cause);
    this.element = el("div", {}, this.cut, this.of);
  }

  get scan() {
    return this.workbench.design.scan;
  }

  show(measured) {
    this.of.hidden = !this.scan;
    this.cut.hidden = !measured;
    if (measured) this.cut.textContent = cutWords(measured, this.scan);
    if (!this.scan) return;
    const { noise_um: noise, stated } = this.scan;
    if (this.noise !== this.noise.getRootNode().activeElement) this.write();
    this.cause.textContent = CAUSE[noise === null ? "unknown" : stated ? "stated" : "found"];
  }

  write() {
    const noise = this.scan?.noise_um ?? null;
    this.noise.value = noise === null ? "" : Number(noise.toPrecision(3));
  }
}

/** The cut, and how surely the shape says it. */
function cutWords({ cut, recognition }, scan) {
  const surely = scan?.recognition ?? recognition;
  if (surely) return `Recognised by its shape: ${surely}.`;
  return cut ? `Cut: ${cut}.` : "Of no known cut: facets named by shape bear side, ring from the girdle on and slope; percentages are of the width.";
}
