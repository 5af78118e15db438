// The panel of the last facets: a blocked stone finished, its stars and halves laid on the mains as they were measured.

import { el, signed, slider } from "./controls.js";
import { Ground } from "./removed_weight.js";

const KIND = "finished";
const TIER = 0;
const LAST = ["star", "upper half", "lower half"];
const USUAL = { star_pct: 50, lower_half_pct: 77, upper_half_pct: null, upper_painting_deg: 0, lower_painting_deg: 0, diameter_mm: null };
const CHOICES = [
  { key: "star_pct", label: "Star length", unit: "%", spoken: "percent", low: 30, high: 75, step: 0.5, least: 0.1, most: 99.9 },
  { key: "lower_half_pct", label: "Lower-half length", unit: "%", spoken: "percent", low: 50, high: 95, step: 0.5, least: 0.1, most: 99.9 },
  { key: "upper_painting_deg", label: "Painting of upper halves (digging: −)", unit: "°", spoken: "degrees", low: -3, high: 3, step: 0.05, least: -10, most: 10 },
  { key: "lower_painting_deg", label: "Painting of lower halves (digging: −)", unit: "°", spoken: "degrees", low: -3, high: 3, step: 0.05, least: -10, most: 10 },
  { key: "upper_half_pct", label: "Upper-half length", unit: "%", spoken: "percent", low: 20, high: 70, step: 0.5, least: 0.1, most: 99.9,
    asked: "Upper halves of their own length (else they meet the stars)", first: (design) => 100 - design.star_pct },
  { key: "diameter_mm", label: "Girdle ground to", unit: "mm", spoken: "millimetres", low: 2, high: 15, step: 0.01, least: 0.1, most: 1000,
    asked: "Grind the girdle round", first: (_, size) => Math.floor(98 * Math.min(size[0], size[1])) / 100 },
];

const GAPS = { slope: ["slope_deg", 3, "°"], azimuth: ["azimuth_deg", 3, "°"], height: ["height_um", 1, " µm"] };

/** Which measured mains are off their tier's pattern, each to be chosen. */
function mainsOff(workbench) {
  const mains = workbench.answers[workbench.state.editing]?.mains_off ?? [];
  const lines = mains.map(({ name, off, ...gaps }) => {
    const button = el("button", { type: "button", ariaLabel: `Choose ${name}` }, name);
    button.addEventListener("click", () => workbench.look({ facet: name }));
    return el("li", { className: "row" }, button, off.map((word) => `${word} ${signed(gaps[GAPS[word][0]], GAPS[word][1])}${GAPS[word][2]}`).join(", "));
  });
  const told = lines.length ? "Mains off their tier's pattern by more than 3 usual standard uncertainties:" : "No main is off its tier's pattern by more than 3 usual standard uncertainties.";
  return [el("p", { className: "note" }, told), el("ul", { className: "plain" }, ...lines),
    el("p", { className: "note" }, "What correcting one alone would change, and your own uncertainties: raylab brillianteer.")];
}

export const last = {
  id: "last",
  title: "Finish",

  build(root, workbench) {
    this.workbench = workbench;
    this.rows = CHOICES.map((about) => this.row(about));
    this.none = el("p", { className: "note" }, "For a blocked stone: open its table of facets (CSV) or its scan, with table and mains polished and measured, " +
      "and no stars and halves yet. Those are then laid on the mains as they are, and the finished stone stands beside it as B.");
    this.ground = new Ground(workbench, KIND);
    this.body = el("div", {},
      el("p", { className: "note" }, "Stars and halves laid on the mains as they were measured; the finished stone stands beside the blocked one as B."),
      ...this.rows.map(({ element }) => element), this.ground.element, this.off = el("div"));
    root.append(this.none, this.body);
  },

  /** A slider, with a box before it where the choice may also be left open. */
  row(about) {
    const { workbench } = this;
    const set = (value, rested) => workbench.rework(KIND, { ...(workbench.design.kind === KIND ? {} : this.unmade()), [about.key]: value }, rested);
    const one = slider({ ...about, key: `finish_${about.key}` }, set);
    if (!about.asked) return { about, one, element: one.element };
    const box = el("input", { type: "checkbox" });
    box.addEventListener("change", () => {
      const design = workbench.design.kind === KIND ? workbench.design : USUAL;
      set(box.checked ? about.first(design, workbench.shapes[workbench.state.editing].size_mm) : null, true);
    });
    return { about, one, box, element: el("div", {}, el("label", { className: "row" }, el("span", {}, about.asked), box), one.element) };
  },

  /** What a finished stone begins with: usual lengths, and a girdle ground round where none was measured. */
  unmade() {
    const { facets, size_mm } = this.workbench.shapes[this.workbench.state.editing];
    const grind = CHOICES.find(({ key }) => key === "diameter_mm");
    return { ...USUAL, diameter_mm: facets.some((row) => row[TIER] === "girdle") ? null : grind.first(USUAL, size_mm) };
  },

  show(workbench) {
    const finished = workbench.design.kind === KIND;
    const tiers = new Set(workbench.shapes[workbench.state.editing]?.facets.map((row) => row[TIER]));
    const blocked = !LAST.some((tier) => tiers.has(tier)) && ["table", "crown main", "pavilion main"].every((tier) => tiers.has(tier));
    this.none.hidden = finished || blocked;
    this.body.hidden = !this.none.hidden;
    const design = finished ? workbench.design : USUAL;
    for (const { about, one, box } of this.rows) {
      const value = design[about.key] ?? null;
      if (box) {
        box.checked = value !== null;
        one.element.hidden = value === null;
      }
      if (value !== null) one.show(value);
    }
    this.ground.show();
    this.off.replaceChildren(...(finished ? mainsOff(workbench) : []));
  },

  mark(key) {
    for (const { about, one } of this.rows) one.mark(about.key === key);
  },
};
