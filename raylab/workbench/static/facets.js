// The panel of facets: one row per facet, to choose and to edit. Editing turns the stone into a facet table; undo reverts it.

import { el, tidy } from "./controls.js";
import { facetName } from "./facet_name.js";
import { azimuthOf, indexWords, teethOf, wheelChoice } from "./index_wheel.js";

const TIER = 0, NUMBER = 1, SIDE = 2;
export const SLOPE = 3, AZIMUTH = 4, DISTANCE = 5;
const COLUMNS = [
  [SLOPE, "slope", "degrees to the girdle plane"],
  [AZIMUTH, "azimuth", "degrees"],
  [DISTANCE, "distance", "millimetres from the centre"],
];
const STEP = { [SLOPE]: 0.01, [AZIMUTH]: 0.01, [DISTANCE]: 0.001 };

/** Set a slope; a slope beyond the vertical turns the facet to the other side. */
function lean(row, slope) {
  const beyond = slope > 90;
  row[SLOPE] = beyond ? 180 - slope : slope;
  if (beyond) row[SIDE] = row[SIDE] === "down" ? "up" : "down";
  else row[SIDE] ||= "up";
}

export const facets = {
  id: "facets",
  title: "Facets",

  build(root, workbench) {
    this.workbench = workbench;
    this.rows = new Map();
    this.key = "";
    this.body = el("tbody");
    this.girdle = el("tbody", { hidden: true });
    this.fold = el("button", { type: "button", ariaExpanded: "false" }, "Show girdle facets");
    this.fold.addEventListener("click", () => this.unfold(this.girdle.hidden));
    root.append(
      el("p", { className: "note" }, "Slope: angle to the girdle plane, degrees (more than 90 turns the facet to the other side). Azimuth: degrees " +
        "counter-clockwise from the right. Distance: from the centre to the facet plane, mm."),
      wheelChoice(workbench),
      el("div", { className: "facet-scroll", tabIndex: 0, role: "region", ariaLabel: "Facet table" },
        this.table = el("table", {}, el("caption", { className: "hidden-head" }, "Facets of the stone"),
          el("thead", {}, el("tr", {}, ...["Facet", "Slope °", "Azimuth °", "Index", "Distance mm"]
            .map((head) => el("th", { scope: "col", className: head === "Index" ? "index" : "" }, head)))),
          this.body, this.girdle)),
      el("div", { className: "row" }, this.fold),
    );
  },

  unfold(open) {
    this.girdle.hidden = !open;
    this.fold.ariaExpanded = String(open);
    this.fold.textContent = open ? "Hide girdle facets" : "Show girdle facets";
  },

  /** Rows of the edited stone: those of its design, or those of its shape if the design states proportions. */
  current(workbench) {
    return workbench.design.kind === "facets" ? workbench.design.facets : workbench.shapes[workbench.state.editing]?.facets ?? [];
  },

  show(workbench) {
    const rows = this.current(workbench);
    const key = rows.map(facetName).join();
    if (key !== this.key) this.rebuild(rows, key);
    const teeth = teethOf(workbench);
    this.table.classList.toggle("no-wheel", !teeth);
    for (const row of rows) {
      const { inputs, index } = this.rows.get(facetName(row));
      if (teeth && index.dataset.typed !== "1") index.value = indexWords(row[AZIMUTH], teeth);
      for (const [column] of COLUMNS) {
        const input = inputs[column];
        if (input !== input.getRootNode().activeElement) input.value = tidy(row[column], column === DISTANCE ? 5 : 4);
      }
    }
    this.choose(workbench.state.facet);
  },

  rebuild(rows, key) {
    this.key = key;
    this.rows.clear();
    this.body.replaceChildren();
    this.girdle.replaceChildren();
    for (const tier of new Set(rows.map((row) => row[TIER]))) { // a file may list a tier's facets here and there
      const own = rows.filter((row) => row[TIER] === tier);
      const home = this.workbench.onGirdle(own[0]) ? this.girdle : this.body;
      home.append(el("tr", { className: "tier" }, el("th", { colSpan: 5, scope: "rowgroup" }, tier)), ...own.map((row) => this.line(row)));
    }
    this.fold.hidden = !this.girdle.childElementCount;
  },

  line(row) {
    const name = facetName(row);
    const choose = el("button", { type: "button", ariaLabel: `Choose ${name}`, ariaPressed: "false", title: name }, String(row[NUMBER]));
    choose.addEventListener("click", () => this.workbench.look({ facet: this.workbench.state.facet === name ? null : name }));
    const inputs = {};
    const cells = COLUMNS.map(([column, word, unit]) => {
      const input = el("input", { type: "number", step: STEP[column], ariaLabel: `${word} of ${name}, ${unit}`, autocomplete: "off" });
      input.addEventListener("change", () => this.write(name, column, input.valueAsNumber));
      inputs[column] = input;
      return el("td", {}, input);
    });
    const index = el("input", { type: "text", inputMode: "decimal", ariaLabel: `index of ${name}`, autocomplete: "off",
      title: "Number of the index wheel; * between two teeth" });
    index.addEventListener("input", () => { index.dataset.typed = "1"; });
    for (const end of ["change", "blur"]) index.addEventListener(end, () => { index.dataset.typed = "0"; });
    index.addEventListener("change", () => this.write(name, AZIMUTH, azimuthOf(index.value, teethOf(this.workbench))));
    cells.splice(2, 0, el("td", { className: "index" }, index));
    const line = el("tr", {}, el("th", { scope: "row" }, choose), ...cells);
    this.rows.set(name, { line, inputs, index, choose });
    return line;
  },

  write(name, column, value) {
    const design = Number.isFinite(value) ? this.workbench.asTable(this.workbench.state.editing) : null;
    const row = design?.facets.find((one) => facetName(one) === name);
    if (!row) {
      this.show(this.workbench);
      return;
    }
    if (column === SLOPE) lean(row, value);
    else row[column] = value;
    this.workbench.replace({ [this.workbench.state.editing]: design });
  },

  choose(name) {
    for (const [one, { line, choose }] of this.rows) {
      const chosen = one === name;
      if (chosen !== line.classList.contains("chosen")) {
        line.classList.toggle("chosen", chosen);
        choose.ariaPressed = String(chosen);
        if (chosen) this.reveal(line);
      }
    }
  },

  reveal(line) {
    if (this.girdle.contains(line)) this.unfold(true);
    const box = line.closest(".facet-scroll");
    box.scrollTop = line.offsetTop - box.clientHeight / 2;
  },
};
