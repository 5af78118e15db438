// The numbers above the maps: brightness, contrast, leak and weight of each stone, each with its change since the stone was
// opened. The stone as it was opened is computed under the light and view of now, so that a change is the stone's own.

import { el, fixed, signed } from "./controls.js";

const MOST_KEPT = 40;

export class Glance {
  constructor(workbench, background, root) {
    Object.assign(this, { workbench, background, root, bases: new Map(), rested: false });
    workbench.addEventListener("answer", () => this.draw());
    workbench.addEventListener("change", () => { this.rested = false; });
    workbench.addEventListener("status", ({ detail }) => {
      if (detail === "busy" || this.rested) return;
      this.rested = true;
      this.rest();
    });
  }

  /** What a side's stone was as it was opened, under the light and view of now. */
  opened(side) {
    const design = this.workbench.state.opened[side];
    return { ...this.workbench.scene(side), design, side };
  }

  base(side) {
    return this.bases.get(JSON.stringify({ ...this.opened(side), side: "" }));
  }

  keep(side, figures) {
    if (this.bases.size >= MOST_KEPT) this.bases.delete(this.bases.keys().next().value);
    this.bases.set(JSON.stringify({ ...this.opened(side), side: "" }), figures);
  }

  /** Find the opened stones' numbers, where they are not known. */
  async rest() {
    const { workbench, background } = this;
    for (const side of workbench.sides) {
      if (this.base(side)) continue;
      const opened = this.opened(side);
      if (workbench.answers[side]?.step === "exact" && JSON.stringify(workbench.drawn[side]) === JSON.stringify(opened.design)) {
        this.keep(side, figuresOf(workbench.answers[side]));
        continue;
      }
      const found = await background.ask({ ...opened, step: "exact", key: "tilt_deg", values: [opened.tilt_deg] });
      if (!found || found.error) return;
      const first = (table) => Object.fromEntries(Object.entries(table).map(([key, [value]]) => [key, value]));
      this.keep(side, { values: first(found.numbers), errors: first(found.errors) });
    }
    this.draw();
  }

  draw() {
    const { workbench, root } = this;
    const strips = workbench.start.strips.filter(({ above }) => above);
    const sides = workbench.sides.filter((side) => workbench.answers[side]);
    if (!sides.length) return;
    const pair = workbench.sides.length > 1;
    const heads = strips.map(({ label, definition }) => el("th", { scope: "col" }, el("abbr", { title: definition }, label)));
    const rows = sides.map((side) => {
      const [now, base] = [figuresOf(workbench.answers[side]), this.base(side)];
      return el("tr", {}, el("th", { scope: "row" }, pair ? side.toUpperCase() : el("span", { className: "hidden-head" }, "stone")),
        ...strips.map((figure) => this.cell(figure, side, now, base)));
    });
    root.replaceChildren(el("caption", { className: "hidden-head" }, "Numbers of the stone, each with its change since the stone was opened"),
      el("thead", {}, el("tr", {}, el("td"), ...heads)), el("tbody", {}, ...rows));
    root.classList.toggle("behind", workbench.faulty.size > 0);
  }

  cell({ key, unit }, side, now, base) {
    const value = el("span", { className: "now" }, unit ? `${fixed(now.values[key], 3)} ${unit}` : fixed(now.values[key]));
    return el("td", { "data-glance": `${key}.${side}` }, value, " ", this.change(key, unit, now, base));
  }

  /** The change since the stone was opened, faint where it is not larger than the errors of tracing. */
  change(key, unit, now, base) {
    const was = base?.values[key] ?? NaN;
    const by = now.values[key] - was;
    const error = Math.hypot(now.errors[key] ?? 0, base?.errors[key] ?? 0);
    const sure = Math.abs(by) > this.workbench.start.coverage * error;
    const title = Number.isFinite(by)
      ? `Change since the stone was opened (then ${unit ? `${fixed(was, 3)} ${unit}` : fixed(was)}, under the same light and view${unit ? "; 1 pt, a point, is 0.01 ct" : ""})${sure || !by ? "" : "; not resolved: within the error of tracing"}`
      : "The change since the stone was opened is not computed yet";
    const text = !Number.isFinite(by) ? "…" : by === 0 ? "unchanged" : unit ? `${signed(100 * by, 2)} pt` : signed(by, 4);
    return el("span", { className: sure ? "change" : "change bracket", title }, text);
  }
}

/** The numbers of an answer, and their standard errors. */
export function figuresOf({ summary, weight_ct }) {
  return { values: { ...summary.ledger, ...summary.stats, weight_ct }, errors: summary.errors };
}
