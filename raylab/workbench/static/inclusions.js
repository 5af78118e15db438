// The panel of inclusions: a click on a map, or on a facet of the stone in 3D, plots one; a list to choose, edit and remove them; and
// a table of what is seen of them, computed in the background while the panel is open and the page rests.

import { el, fixed, slider, readable, tidy } from "./controls.js";
import { sampledNote } from "./numbers.js";
import { VisibilitySlices } from "./visibility_slices.js";

const MOST_KEPT = 20;
const FIRST = { shape: "sphere", depth_mm: 0.3, radius_mm: 0.05, transmittance: 0 };
/** What a shape begins with, as far as it is not stated. */
const USUAL = { radius_mm: 0.05, radii_mm: [0.1, 0.05, 0.05] };
const LENGTHS = {
  depth_mm: { label: "Depth below the facet (real)", high: 4, step: 0.01 },
  apparent_depth_mm: { label: "Depth as it looks (apparent)", high: 2, step: 0.01 },
  radius_mm: { label: "Radius", high: 1, step: 0.005 },
};
const LISTS = {
  at_mm: "Right and up from the middle of the facet, mm",
  center_mm: "Middle x, y, z, mm",
  radii_mm: "Radii, mm",
  axis: "Direction of the first radius",
  second_axis: "Direction of the second radius",
  normal: "Direction across the disc",
};
const copy = (value) => structuredClone(value);

export const inclusions = {
  id: "inclusions",
  title: "Inclusions",

  build(root, workbench) {
    Object.assign(this, { workbench, root, chosen: -1, next: copy(FIRST), known: new Map(), rested: false });
    this.aim = el("button", { type: "button", id: "plot", ariaPressed: "false" }, "Plot by a click");
    this.aim.addEventListener("click", () => this.take(workbench.aim ? null : this));
    this.list = el("ol", { className: "history inclusions", ariaLabel: "Inclusions of the stone" });
    this.seen = el("div", { id: "inclusion-images" });
    this.field = new VisibilitySlices(workbench);
    root.append(
      el("p", { className: "note" }, "An inclusion takes light; it neither bends nor scatters it. It is plotted as with a microscope: seen straight down through " +
        "a point of a facet, at a depth. An inclusion plotted through a facet moves with that facet."),
      el("div", { className: "row" }, el("span", { className: "note" }, "Click a map, or a facet of the stone in 3D."), this.aim),
      this.list, this.form(), this.seen, this.field.element,
    );
    workbench.addEventListener("plotted", ({ detail }) => this.add(detail));
    workbench.addEventListener("panel", () => { if (root.hidden) this.take(null); });
    addEventListener("keydown", (event) => { if (event.key === "Escape") this.take(null); });
  },

  /** Begin to compute what is seen, with the questions that are asked while nothing moves. */
  listen(background) {
    const { workbench } = this;
    this.background = background;
    workbench.addEventListener("change", () => { this.rested = false; });
    workbench.addEventListener("panel", () => this.rest());
    workbench.addEventListener("status", ({ detail }) => {
      if (detail === "busy" || this.rested) return;
      this.rested = true;
      this.rest();
    });
  },

  /** Clicks plot from now on, or (null) no more. */
  take(aim) {
    this.workbench.aim = aim;
    this.aim.ariaPressed = String(Boolean(aim));
    document.documentElement.dataset.aim = aim ? "plot" : "";
  },

  /** Ask for the place of a click: `where` is a point of a map, x_mm and y_mm, or a facet with a point_mm of it. */
  plot(side, where) {
    if (side === this.workbench.state.editing) this.workbench.plot(where);
    else this.workbench.notify("problem", { text: "This is not the stone that is edited; choose Edit A or Edit B first." });
  },

  add(place) {
    const one = { ...this.next, ...place };
    this.chosen = this.all.length;
    this.write([...this.all, one], true);
  },

  /** The inclusions of the edited stone: as its design states them, or where they lie in a stone made of another. */
  get all() {
    const { design, shapes, state } = this.workbench;
    return (design.of ? shapes[state.editing]?.inclusions : design.inclusions) ?? [];
  },

  /** Change the list. A stone made of another becomes a facet table, as where a facet is edited. */
  write(list, rested) {
    const { workbench } = this;
    if (!workbench.design.of) return workbench.edit({ inclusions: list }, rested);
    const table = workbench.asTable(workbench.state.editing);
    return table && workbench.replace({ [workbench.state.editing]: { ...table, inclusions: list } }, {}, rested);
  },

  // --- the one that is edited ------------------------------------------------------------------------------------------

  /** The chosen inclusion, or what the next one will be. */
  get one() {
    return this.all[this.chosen] ?? this.next;
  },

  /** Change keys of it; a key that becomes undefined goes. */
  set(values, rested = true) {
    const one = { ...copy(this.one), ...values };
    for (const key of Object.keys(one)) if (one[key] === undefined) delete one[key];
    if (this.one === this.next) {
      this.next = one;
      this.show(this.workbench);
    } else {
      this.write(this.all.map((old, at) => (at === this.chosen ? one : old)), rested);
    }
  },

  form() {
    const row = (label, control) => el("label", { className: "row" }, el("span", {}, label), control);
    const { sizes } = this.workbench.start.inclusions;
    this.sizes = sizes;
    this.legend = el("legend");
    this.name = el("input", { type: "text", maxLength: 40, autocomplete: "off", "data-inclusion": "name" });
    this.name.addEventListener("change", () => this.set({ name: this.name.value || undefined }));
    this.shape = el("select", { "data-inclusion": "shape" }, ...Object.keys(sizes).map((shape) => el("option", { value: shape }, shape)));
    this.shape.addEventListener("change", () => this.reshape(this.shape.value));
    this.facet = el("input", { type: "text", autocomplete: "off", "data-inclusion": "facet" });
    this.facet.addEventListener("change", () => this.set({ facet: this.facet.value }));
    this.depth = el("select", { "data-inclusion": "depth" }, el("option", { value: "depth_mm" }, "real"), el("option", { value: "apparent_depth_mm" }, "apparent"));
    this.depth.title = "The real depth is the refractive index times the apparent one, to which a microscope is focused";
    this.depth.addEventListener("change", () => this.measure(this.depth.value));
    this.sliders = Object.fromEntries(Object.entries(LENGTHS).map(([key, about]) =>
      [key, slider({ key: `inclusion_${key}`, unit: "mm", spoken: "millimetres", low: about.step, ...about }, (value, rested) => this.set({ [key]: value }, rested))]));
    this.sliders.transmittance = slider({ key: "inclusion_transmittance", label: "Transmittance (0: opaque)", unit: "", low: 0, high: 1, step: 0.01 },
      (value, rested) => this.set({ transmittance: value }, rested));
    this.lists = Object.fromEntries(Object.entries(LISTS).map(([key, label]) => {
      const input = el("input", { type: "text", autocomplete: "off", "data-inclusion": key });
      input.addEventListener("change", () => this.set({ [key]: numbers(input.value) }));
      return [key, { input, element: row(label, input) }];
    }));
    this.rows = { name: row("Name", this.name), shape: row("Shape", this.shape), facet: row("Seen through", this.facet), depth: row("Which depth is stated", this.depth) };
    return el("fieldset", { className: "controls", id: "inclusion" }, this.legend, this.rows.name, this.rows.shape, this.rows.facet, this.lists.at_mm.element,
      this.lists.center_mm.element, this.rows.depth, this.sliders.depth_mm.element, this.sliders.apparent_depth_mm.element, this.sliders.radius_mm.element,
      ...["radii_mm", "axis", "second_axis", "normal"].map((key) => this.lists[key].element), this.sliders.transmittance.element);
  },

  /** Another shape at the same place. */
  reshape(shape) {
    const old = this.sizes[this.one.shape] ?? [];
    const wanted = this.sizes[shape];
    const gone = Object.fromEntries(old.filter((key) => !wanted.includes(key)).map((key) => [key, undefined]));
    const first = Object.fromEntries(wanted.filter((key) => USUAL[key] && !(key in this.one)).map((key) => [key, USUAL[key]]));
    this.set({ ...gone, ...first, shape });
  },

  /** State the depth the other way, with the same number: the page knows no index. */
  measure(key) {
    const other = key === "depth_mm" ? "apparent_depth_mm" : "depth_mm";
    this.set({ [other]: undefined, [key]: this.one[other] });
  },

  // --- showing ---------------------------------------------------------------------------------------------------------

  show(workbench) {
    const { all } = this;
    if (this.chosen >= all.length) this.chosen = -1;
    const key = JSON.stringify([all, this.chosen]);
    if (key !== this.key) this.list.replaceChildren(...all.map((one, at) => this.line(one, at)), this.line(null, -1));
    this.key = key;
    this.showOne(this.one);
    this.showSeen(workbench);
    this.field.show(this.chosen);
  },

  line(one, at) {
    const words = one ? `${at + 1}: ${inWords(one)}` : "The next one to plot";
    const choose = el("button", { type: "button", ariaCurrent: at === this.chosen ? "step" : null }, words);
    choose.addEventListener("click", () => {
      this.chosen = at;
      this.show(this.workbench);
    });
    if (!one) return el("li", {}, choose);
    const remove = el("button", { type: "button", className: "remove", ariaLabel: `Remove inclusion ${at + 1}`, title: "Remove" }, "×");
    remove.addEventListener("click", () => {
      this.chosen = -1;
      this.write(this.all.filter((_, k) => k !== at), true);
    });
    return el("li", {}, choose, remove);
  },

  showOne(one) {
    const exists = one !== this.next;
    this.legend.textContent = exists ? `Inclusion ${this.chosen + 1}` : "The next one to plot";
    const write = (input, value) => { if (input !== document.activeElement) input.value = value; };
    write(this.name, one.name ?? "");
    this.shape.value = one.shape;
    for (const option of this.shape.options) option.hidden = (option.value === "polyhedron") !== (one.shape === "polyhedron");
    write(this.facet, one.facet ?? "");
    this.rows.facet.hidden = !("facet" in one);
    this.rows.depth.hidden = !("depth_mm" in one || "apparent_depth_mm" in one);
    this.depth.value = "apparent_depth_mm" in one ? "apparent_depth_mm" : "depth_mm";
    for (const [key, control] of Object.entries(this.sliders)) {
      control.element.hidden = !(key in one) && key !== "transmittance";
      control.show(one[key] ?? 0);
    }
    for (const [key, { input, element }] of Object.entries(this.lists)) {
      element.hidden = !(key in one || this.sizes[one.shape]?.includes(key));
      write(input, Array.isArray(one[key]) ? one[key].map((value) => (typeof value === "number" ? tidy(value, 4) : value)).join(" ") : one[key] ?? "");
    }
  },

  /** What a message names as `inclusions#2.radius_mm`; the one it names is then shown. */
  mark(keys) {
    const [, number, name] = /^inclusions#(\d+)\.(\w+)$/.exec(keys.find((key) => key?.startsWith("inclusions#")) ?? "") ?? [];
    if (number && Number(number) - 1 !== this.chosen && Number(number) <= this.all.length) {
      this.chosen = Number(number) - 1;
      this.show(this.workbench);
    }
    for (const [key, control] of Object.entries(this.sliders)) control.mark(key === name);
    for (const [key, { input }] of Object.entries(this.lists)) input.setAttribute("aria-invalid", String(key === name));
    this.facet.setAttribute("aria-invalid", String(name === "facet"));
  },

  // --- what is seen ----------------------------------------------------------------------------------------------------

  question() {
    return { ...this.workbench.scene(this.workbench.state.editing), kind: "inclusions", step: "exact" };
  },

  async rest() {
    const { workbench, all } = this;
    if (this.root.hidden || !this.rested || !all.length || workbench.faulty.has(workbench.state.editing)) return;
    const question = this.question();
    const name = JSON.stringify({ ...question, side: "" });
    if (!this.known.has(name)) {
      const found = await this.background.ask(question);
      if (!found) return;
      if (this.known.size >= MOST_KEPT) this.known.delete(this.known.keys().next().value);
      this.known.set(name, found);
    }
    this.showSeen(workbench);
  },

  showSeen(workbench) {
    const { seen } = this;
    const answer = workbench.answers[workbench.state.editing];
    const found = this.known.get(JSON.stringify({ ...this.question(), side: "" }));
    seen.hidden = !this.all.length;
    if (seen.hidden || !answer) return;
    seen.classList.toggle("behind", !found);
    if (!found && seen.childElementCount) return;
    const remarks = answer.shape.inclusion_remarks.map((line) => el("p", { className: "note" }, line));
    const rest = found?.error ? [el("p", { className: "note" }, found.error.text)] : found ? table(found.inclusions) : [el("p", { className: "note" }, "Their images are being computed…")];
    seen.replaceChildren(...sampledNote(answer), ...remarks, ...rest);
  },
};

/** Numbers as they were typed; a word that is none stays, and raylab says what is wrong with it. */
function numbers(text) {
  const words = text.split(/[\s,;]+/).filter(Boolean);
  return words.length ? words.map((word) => (Number.isFinite(Number(word)) ? Number(word) : word)) : undefined;
}

function inWords({ name, shape, facet, at_mm, depth_mm, apparent_depth_mm, center_mm }) {
  const list = (values) => (Array.isArray(values) ? values.map((value) => (typeof value === "number" ? readable(value, 2) : value)).join(", ") : "");
  const depth = apparent_depth_mm === undefined ? `${tidy(depth_mm, 3)} mm deep` : `${tidy(apparent_depth_mm, 3)} mm deep as it looks`;
  const place = facet ? `through ${facet}${at_mm ? ` at ${list(at_mm)}` : ""}, ${depth}` : center_mm ? `about ${list(center_mm)}` : "";
  return [name, `${shape} ${place}`.trim()].filter(Boolean).join(", ");
}

/** The images as a table, and what they take, in words. */
function table({ images, number, faint, large_and_strong, eye, taken, lost, pixel_mm }) {
  const percent = (value, digits = 2) => `${fixed(100 * value, digits)} %`;
  const heads = ["Inclusion", "Reflec­tions", "Area mm²", "Light taken", "Contrast"];
  const rows = images.map((one) => el("tr", {}, el("th", { scope: "row", title: one.facets.join(" > ") }, one.name.replace(/^inclusion /, "")),
    ...[one.reflections, fixed(one.area_mm2, 4), percent(one.taken, 0), one.contrast === null ? "–" : fixed(one.contrast, 2)].map((cell) => el("td", {}, cell))));
  const more = number - images.length;
  return [
    el("p", { className: "note", "data-number": "taken" }, `${percent(taken.value, 3)} ± ${percent(taken.error, 3)} of the light of the face is taken; ${percent(lost.value, 3)} of its luminance is missing.`),
    el("p", { className: "note" }, `${number} images and ${faint} faint ones; ${large_and_strong} are at least ${tidy(eye.resolves_arcmin)} arc min wide from ${tidy(eye.distance_mm)} mm ` +
      `and of contrast ${tidy(eye.contrast)} or more. This is no grade of clarity.`),
    el("table", { className: "images" }, el("caption", {}, more > 0 ? `The ${images.length} strongest images (${more} not listed)` : "Images"),
      el("thead", {}, el("tr", {}, ...heads.map((head) => el("th", { scope: "col" }, head)))), el("tbody", {}, ...rows)),
    el("p", { className: "note" }, `Looked for on pixels of ${fixed(pixel_mm, 3)} mm: an image smaller than a pixel may be missed. Point at an inclusion to read its facets.`),
  ];
}
