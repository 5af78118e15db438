// Dark areas of the stones at rest: a table of their numbers, and the outline of the largest one for the maps. Computed in the
// background, unless nothing is to stand along the sliders: that is the choice for a slow machine.

import { el, fixed, signed } from "./controls.js";

const MOST_KEPT = 20;

export class Darkness {
  /** `label` holds the checkbox `box` of the outline. */
  constructor(workbench, label, box) {
    Object.assign(this, { workbench, label, box, known: new Map(), rested: false, element: el("div", { id: "darkness" }) });
  }

  /** Begin: `choice` says what stands along the sliders; `redraw` draws the maps. */
  listen(background, choice, redraw) {
    const { workbench } = this;
    Object.assign(this, { background, choice, redraw });
    this.box.addEventListener("change", redraw);
    choice.addEventListener("change", () => this.show());
    choice.addEventListener("change", () => { if (this.rested) this.rest(); });
    workbench.addEventListener("change", () => { this.rested = false; this.show(); });
    workbench.addEventListener("status", ({ detail }) => {
      if (detail === "busy" || this.rested) return;
      this.rested = true;
      this.rest();
    });
  }

  name(side) {
    return JSON.stringify({ ...this.workbench.scene(side), side: "" });
  }

  /** The answer on a side's stone as it is now; undefined until it is computed. */
  of(side) {
    return this.known.get(this.name(side));
  }

  /** Whether they are wanted, and every stone is one that an exact engine traces. */
  get shown() {
    return this.choice.value !== "" && this.workbench.sides.every((side) => this.workbench.answers[side]?.exact !== false);
  }

  outline(side) {
    return this.box.checked ? this.of(side)?.arrays.outline : undefined;
  }

  async rest() {
    for (const side of this.workbench.sides) {
      if (!this.shown || this.of(side) || this.workbench.faulty.has(side)) continue;
      const name = this.name(side);
      const found = await this.background.ask({ ...this.workbench.scene(side), kind: "dark", step: "exact" });
      if (!found || found.error) return;
      if (this.known.size >= MOST_KEPT) this.known.delete(this.known.keys().next().value);
      this.known.set(name, found);
    }
    this.show();
    if (this.box.checked) this.redraw();
  }

  show() {
    const { workbench, shown, element } = this;
    const found = workbench.sides.map((side) => this.of(side)?.dark);
    this.label.hidden = element.hidden = !shown;
    if (!shown) this.box.checked = false;
    element.classList.toggle("behind", found.includes(undefined));
    if (element.hidden || found.includes(undefined)) return;
    const pair = found.length > 1;
    const heads = ["", ...(pair ? ["A", "B", "B − A"] : ["value"])];
    const rows = workbench.start.darkness.filter(({ key }) => found.some(({ values }) => key in values)).map((one) => this.row(one, found));
    const [first, ...others] = rows;
    element.replaceChildren(el("table", {}, el("caption", {}, "Dark areas"),
      el("thead", {}, el("tr", {}, ...heads.map((head) => el(head ? "th" : "td", head ? { scope: "col" } : {}, head)))),
      el("tbody", {}, first, this.places(found), ...others)),
    el("p", { className: "note" }, `Dark is where the luminance is below ${fixed(100 * found[0].below, 0)} % of the mean of the stone.`));
  }

  row({ key, label, definition, percent }, found) {
    const number = (value, how = fixed) => (percent ? `${how(100 * value, 2)} %` : how(value, 3));
    const cells = found.map(({ values, brackets }, at) => {
      if (!(key in values)) return el("td", {}, el("span", { className: "bracket" }, "no band"));
      const [low, high] = brackets[key];
      return el("td", { "data-number": `${key}.${this.workbench.sides[at]}`, title: `certainly between ${number(low)} and ${number(high)}` }, number(values[key]));
    });
    const both = found.length > 1 && found.every(({ values }) => key in values);
    if (found.length > 1) cells.push(el("td", {}, both ? number(found[1].values[key] - found[0].values[key], signed) : "–"));
    return el("tr", {}, el("th", { scope: "row" }, el("abbr", { title: definition }, label)), ...cells);
  }

  /** Where the largest area lies, from the middle of the stone. */
  places(found) {
    const cells = found.map(({ center_mm: [x, y] }) => el("td", {}, x === null ? "none" : `${fixed(x, 2)}, ${fixed(y, 2)} mm`));
    if (found.length > 1) cells.push(el("td"));
    return el("tr", {}, el("th", { scope: "row" }, el("abbr", { title: "centroid of that area, x to the right and y upward in the map" }, "its centre, x and y")), ...cells);
  }
}
