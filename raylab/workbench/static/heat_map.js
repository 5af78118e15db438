// The heat map beside the sliders: a number of the stone over two of them, from a surrogate through the designs of a sweep, drawn anew
// whenever another slider moves. The page makes the sweep around the present stone, or takes up that of an opened file.

import { paint, paintBar } from "./color.js";
import { made } from "./color_maps.js";
import { el, fixed, readable } from "./controls.js";
import { figuresOf } from "./glance.js";
import { Spline } from "./spline.js";
import { Strip } from "./strip.js";

const COLORS = "cividis"; // as raylab's own figures of sweeps
const SIDE = 40; // cells; drawn smooth
const REACHES = [["1/8 of the range", 1 / 8], ["1/4 of the range", 1 / 4], ["1/2 of the range", 1 / 2]];
const COUNTS = [256, 512, 1024];
const FOLLOWED = 4;
const MOST_NAMED = 3;
const MOST_AXES = 8;
/** Where a cut has them, the two sliders that the map begins with. */
const FIRST = ["pavilion_angle_deg", "crown_angle_deg"];
/** Keys of a scene that are no quality of the stone and its light. */
const NAMES = ["name", "kind", "side", "design"];
const same = (one, other) =>
  typeof one === "number" && typeof other === "number" ? Math.abs(one - other) <= 1e-9 * Math.max(1, Math.abs(one)) : JSON.stringify(one) === JSON.stringify(other);
/** Nothing is said where a list is empty. */
const said = (value) => (value === undefined || (Array.isArray(value) && !value.length) ? null : value);

export class HeatMap {
  constructor(workbench, root) {
    Object.assign(this, { workbench, root, spline: null, base: {}, designs: 0, file: "", stop: null, wanted: 0, picked: new Set(), left: new Set() });
    const drawn = { change: () => this.draw() };
    this.number = choice("heat-number", "Number of the heat map", [], drawn.change);
    this.across = choice("heat-across", "Slider across", [], drawn.change);
    this.up = choice("heat-up", "Slider up", [], drawn.change);
    this.reach = choice("heat-reach", "Reach", REACHES.map(([words, share]) => [share, words]));
    this.count = choice("heat-designs", "Designs", COUNTS.map((count) => [count, count]));
    this.count.value = COUNTS[1];
    this.canvas = el("canvas", { id: "heat-canvas", tabIndex: 0, role: "application", "aria-roledescription": "heat map" });
    this.ends = { up: el("div", { className: "strip-ends heat-up", ariaHidden: "true" }, el("span"), el("span"), el("span")), across: el("div", { className: "ticks", ariaHidden: "true" }, el("span"), el("span"), el("span")) };
    this.bar = el("canvas", { className: "color-bar", ariaHidden: "true" });
    this.ticks = el("div", { className: "ticks" }, el("span"), el("span"), el("span"));
    this.words = el("p", { className: "note", id: "heat-words" });
    this.fault = el("p", { className: "note fault", id: "heat-fault", role: "status" });
    this.button = el("button", { type: "button", id: "heat-compute" });
    this.button.addEventListener("click", () => (this.stop ? this.stop.abort() : this.compute()));
    this.share = el("progress", { max: 1, value: 0, hidden: true, ariaLabel: "Progress of the heat map" });
    this.follow = el("div", { className: "follow" });
    const row = (words, control) => el("label", { className: "row" }, el("span", {}, words), control);
    this.shownNumber = row("Number", this.number);
    root.append(
      el("summary", {}, "Heat map over two sliders"),
      this.shownNumber,
      el("div", { className: "heat-frame" }, el("div", { className: "heat-canvas-box" }, this.canvas), this.ends.up, this.ends.across),
      el("div", { className: "heat-legend" }, this.bar, this.ticks),
      this.fault, this.words,
      (this.choices = el("details", { id: "heat-choices", open: true }, el("summary", { className: "quiet" }, "Sliders and designs"),
        row("Across", this.across), row("Up", this.up),
        row("Designs to compute", this.count),
        row("Reach to either side", this.reach),
        el("fieldset", {}, el("legend", { className: "quiet" }, "Sliders that it follows"), this.follow))),
      el("div", { className: "buttons" }, this.button), this.share,
    );
    root.addEventListener("toggle", () => this.draw());
    for (const event of ["change", "answer", "panel"]) workbench.addEventListener(event, () => this.draw());
    workbench.addEventListener("surrogate", ({ detail }) => this.open(detail));
    new ResizeObserver(() => this.draw()).observe(this.canvas.parentElement);
    this.hear();
    if (workbench.start.surrogate) this.open(workbench.start.surrogate);
    this.draw();
  }

  // --- what there is to choose from ------------------------------------------------------------------------------------

  /** All that the edited stone and its light are, by key. */
  get present() {
    const scene = this.workbench.scene(this.workbench.state.editing);
    return { ...scene.design, ...scene, design: undefined };
  }

  /** The sliders of the page that set a number which can take any value, by key: what strip.js knows about them. */
  get sliders() {
    const { present } = this;
    const found = new Map();
    const inOrder = Strip.all.filter((strip) => strip.element.isConnected && !strip.about.whole).sort((one, other) =>
      (one.range.compareDocumentPosition(other.range) & Node.DOCUMENT_POSITION_FOLLOWING ? -1 : 1));
    for (const strip of inOrder) {
      const source = strip.source();
      if (source && !source.design && Number.isFinite(present[source.key]) && !found.has(source.key)) found.set(source.key, strip.about);
    }
    return found;
  }

  about(key) {
    return this.sliders.get(key) ?? { label: key, unit: "" };
  }

  /** The keys that the sweep to compute varies. */
  get axes() {
    const keys = [...this.sliders.keys()];
    const shown = [this.across.value, this.up.value];
    const usual = keys.filter((key) => !shown.includes(key)).slice(0, FOLLOWED - shown.length);
    const others = keys.filter((key) => !shown.includes(key) && !this.left.has(key) && (this.picked.has(key) || usual.includes(key)));
    return [...shown, ...others].slice(0, MOST_AXES);
  }

  /** Bring the lists up to date: the sliders of the present stone, the numbers of the surrogate. */
  offer() {
    const { sliders } = this;
    const keys = [...sliders.keys()];
    const first = FIRST.every((key) => sliders.has(key)) ? FIRST : keys;
    const labels = keys.map((key) => [key, sliders.get(key).label]);
    fill(this.across, labels, this.spline?.axes[0]?.key ?? first[0]);
    fill(this.up, labels, this.spline?.axes[1]?.key ?? first[1]);
    if (this.up.value === this.across.value) this.up.value = keys.find((key) => key !== this.across.value) ?? "";
    fill(this.number, (this.spline?.numbers ?? []).map(({ key, label }) => [key, label]), "brightness");
    const { axes } = this;
    const key = JSON.stringify([keys, axes]);
    if (key === this.offered) return;
    this.offered = key;
    this.follow.replaceChildren(...keys.map((one) => {
      const shown = one === this.across.value || one === this.up.value;
      const box = el("input", { type: "checkbox", checked: axes.includes(one), disabled: shown, "data-follow": one, autocomplete: "off" });
      box.addEventListener("change", () => {
        (box.checked ? this.picked : this.left).add(one);
        (box.checked ? this.left : this.picked).delete(one);
        this.offer();
      });
      return el("label", {}, box, sliders.get(one).label);
    }));
  }

  // --- the surrogate ----------------------------------------------------------------------------------------------------

  /** Have raylab trace designs around the stone, and join them. */
  async compute() {
    const { present, axes, sliders } = this;
    const reach = Number(this.reach.value);
    const ends = axes.map((key) => {
      const { low, high } = sliders.get(key);
      const [now, by] = [present[key], reach * (high - low)];
      return [Math.max(Math.min(low, now), now - by), Math.min(Math.max(high, now), now + by)];
    });
    const question = { ...this.workbench.scene(this.workbench.state.editing), keys: axes, lows: ends.map(([low]) => low), highs: ends.map(([, high]) => high), designs: Number(this.count.value) };
    const stop = new AbortController();
    this.stop = stop;
    this.share.value = 0;
    this.draw();
    const found = await made("surrogate", question, stop.signal, (done) => { this.share.value = done; }).catch((error) => ({ error: { text: error.message } }));
    this.stop = null;
    if (!stop.signal.aborted) {
      if (found.error) this.workbench.notify("problem", found.error);
      else this.take(found, present, "");
    }
    this.draw();
  }

  /** Take up the sweep of an opened file. */
  open(model) {
    const usual = { absorption_per_mm: 0, tilt_deg: 0, tilt_azimuth_deg: 0 }; // of designs that state none
    this.root.open = true;
    this.take(model, { ...usual, ...model.fixed }, model.file);
    const keys = [...this.sliders.keys()];
    const known = model.axes.map(({ key }) => key).filter((key) => keys.includes(key));
    this.offer();
    const first = FIRST.every((key) => known.includes(key)) ? FIRST : known;
    [this.across.value, this.up.value] = first.length > 1 ? first : [known[0] ?? keys[0], keys.find((key) => key !== (known[0] ?? keys[0]))];
    this.draw();
  }

  take(model, base, file) {
    Object.assign(this, { spline: new Spline(model), base, designs: model.designs, file });
    this.choices.open = false;
  }

  /** In what the surrogate's designs differ from the present stone beside their axes; words for each. */
  differences() {
    const { present, base } = this;
    const axes = this.spline.axes.map(({ key }) => key);
    const keys = [...new Set([...Object.keys(base), ...Object.keys(present)])].filter((key) => !NAMES.includes(key) && !axes.includes(key));
    const word = (value) => (typeof value === "number" ? readable(value, 3) : typeof value === "string" ? value : value === null ? "none" : "another");
    return keys.filter((key) => !same(said(base[key]), said(present[key]))).map((key) => {
      const { label } = this.about(key);
      const readableLabel = label === key ? key.replaceAll("_", " ") : label.toLowerCase();
      return `${readableLabel} ${word(said(base[key]))}${typeof said(present[key]) === "object" && said(present[key]) !== null ? "" : ` (here ${word(said(present[key]))})`}`;
    });
  }

  // --- drawing ----------------------------------------------------------------------------------------------------------

  draw() {
    if (this.wanted) return;
    this.wanted = requestAnimationFrame(() => {
      this.wanted = 0;
      if (this.root.open) this.drawNow();
    });
  }

  drawNow() {
    this.offer();
    this.button.textContent = this.stop ? "Stop" : this.spline ? "Compute anew around this stone" : "Compute around this stone";
    this.button.disabled = this.sliders.size < 2;
    this.share.hidden = !this.stop;
    const shown = this.spline ? this.shownMap() : { empty: true, fault: "" };
    this.root.classList.toggle("empty", Boolean(shown.empty));
    this.shownNumber.hidden = !this.spline;
    this.root.classList.toggle("elsewhere", Boolean(shown.elsewhere));
    this.root.classList.toggle("current", Boolean(this.spline) && !shown.fault && !this.stop);
    this.fault.textContent = shown.fault;
    this.fault.hidden = !shown.fault;
    if (!this.spline) {
      this.words.textContent = this.sliders.size < 2 ? "This stone has fewer than two sliders."
        : "Computes designs around this stone in the background and joins them by a smooth surrogate. A finished sweep can be opened instead: its sweep.nc.";
    } else if (shown.empty) {
      this.words.textContent = "";
    } else {
      this.paint(shown);
    }
    this.root.dataset.drawn = String(Number(this.root.dataset.drawn ?? 0) + 1);
  }

  /** What is drawn: the axes' places in the surrogate, the present stone in its unit box; or that nothing can be, and why. */
  shownMap() {
    const { spline, present } = this;
    if (said(this.base.cut) !== said(present.cut)) return { empty: true, fault: `Its designs are of another cut: ${this.base.cut ?? "none"}.` };
    const place = (key) => spline.axes.findIndex((axis) => axis.key === key);
    const strange = spline.axes.filter(({ key }) => !Number.isFinite(present[key]));
    if (strange.length) return { empty: true, fault: `The designs vary ${strange.map(({ key }) => key).join(", ")}, which no slider of this stone sets.` };
    const missing = [this.across.value, this.up.value].filter((key) => place(key) < 0);
    if (missing.length) return { empty: true, fault: `Its designs don't vary ${missing.map((key) => this.about(key).label.toLowerCase()).join(" and ")}: compute anew, or choose ${spline.axes.map(({ key }) => this.about(key).label.toLowerCase()).join(", ")}.` };
    const [across, up] = [place(this.across.value), place(this.up.value)];
    const point = spline.axes.map(({ key }, k) => spline.unit(k, present[key]));
    const beyond = point.map((unit, k) => (unit < -1e-9 || unit > 1 + 1e-9 ? k : -1)).filter((k) => k >= 0);
    const differences = this.differences();
    const fault = beyond.length ? `This stone lies outside of the surrogate's box: ${beyond.map((k) => this.range(k, present)).join("; ")}.`
      : differences.length ? `Its designs are of another stone: ${listed(differences)}.` : "";
    const held = beyond.some((k) => k !== across && k !== up);
    return { across, up, point, fault, inside: !beyond.length, empty: held, elsewhere: differences.length > 0 };
  }

  /** A value beyond the box, in words. */
  range(k, present) {
    const { key, low, high } = this.spline.axes[k];
    const { label, unit } = this.about(key);
    return `${label.toLowerCase()} ${readable(present[key], 2)}${glued(unit)} (${readable(low, 2)} to ${readable(high, 2)})`;
  }

  paint({ across, up, point, inside }) {
    const { spline, canvas, workbench } = this;
    const number = spline.numbers.find(({ key }) => key === this.number.value);
    const begun = performance.now();
    const values = spline.map(number, across, up, point, SIDE);
    this.root.dataset.took = (performance.now() - begun).toFixed(1);
    const scale = { table: workbench.start.colors[COLORS], low: number.low, high: number.high };
    const { clientWidth, clientHeight } = canvas;
    const ratio = Math.min(devicePixelRatio || 1, 2);
    const [wide, high] = [Math.max(1, Math.round(clientWidth * ratio)), Math.max(1, Math.round(clientHeight * ratio))];
    if (canvas.width !== wide || canvas.height !== high) Object.assign(canvas, { width: wide, height: high });
    const context = canvas.getContext("2d");
    const small = new OffscreenCanvas(SIDE, SIDE);
    small.getContext("2d").putImageData(paint(values, scale), 0, 0);
    context.clearRect(0, 0, wide, high);
    context.imageSmoothingQuality = "high";
    context.drawImage(small, 0, 0, wide, high);
    if (inside) mark(context, point[across] * wide, (1 - point[up]) * high, ratio);
    paintBar(this.bar, scale);
    const digits = number.unit ? 2 : 3;
    [scale.low, (scale.low + scale.high) / 2, scale.high].forEach((value, k) => { this.ticks.children[k].textContent = fixed(value, digits); });
    for (const [ends, k, order] of [[this.ends.across, across, ["low", "high"]], [this.ends.up, up, ["high", "low"]]]) {
      const { unit, label } = this.about(spline.axes[k].key);
      order.forEach((end, at) => { ends.children[2 * at].textContent = `${readable(spline.axes[k][end], 2)}${glued(unit)}`; });
      ends.children[1].textContent = label;
    }
    this.say(number, inside ? spline.at(number, point) : NaN, values.some(Number.isNaN));
  }

  say(number, here, gaps) {
    const { workbench, spline } = this;
    const digits = number.unit ? 3 : 4;
    const unit = (value) => `${fixed(value, digits)}${number.unit ? ` ${number.unit}` : ""}`;
    const answer = workbench.answers[workbench.state.editing];
    const traced = answer && workbench.status === "exact" ? figuresOf(answer).values[number.key] : undefined;
    const where = this.file ? `${this.designs} designs of ${this.file}` : `${this.designs} designs`;
    const lines = [`A surrogate through ${where}, over ${spline.axes.length} sliders. Its error by cross-validation is ${unit(number.rmse)}, the designs' own spread ${unit(number.spread)}.`];
    if (Number.isFinite(here)) lines.push(`Here ${unit(here)}${traced === undefined || traced === null ? "" : `, traced ${unit(traced)}`}.`);
    if (number.rmse > 0.8 * number.spread) lines.push("The error is nearly as large as the spread: this map says little.");
    if (gaps) lines.push("Where it is empty, the nearest design has no numbers: it is no stone, or was excluded.");
    this.words.textContent = lines.join(" ");
    this.number.title = number.definition;
    const label = (control) => this.about(control.value).label.toLowerCase();
    this.canvas.ariaLabel = `Heat map of ${number.label} over ${label(this.across)} across and ${label(this.up)} up. ${lines.join(" ")} A click or the arrow keys move both sliders.`;
  }

  // --- clicks -----------------------------------------------------------------------------------------------------------

  /** A click sets both sliders, and so does a drag; arrow keys move one by its step. */
  hear() {
    const { canvas } = this;
    let held = false;
    const set = (event, rested) => {
      const { left, top, width, height } = canvas.getBoundingClientRect();
      const share = (at, length) => Math.min(1, Math.max(0, at / length));
      this.move(share(event.clientX - left, width), 1 - share(event.clientY - top, height), rested);
    };
    canvas.addEventListener("pointerdown", (event) => {
      if (event.button) return;
      held = true;
      canvas.setPointerCapture(event.pointerId);
      set(event, false);
    });
    canvas.addEventListener("pointermove", (event) => { if (held) set(event, false); });
    canvas.addEventListener("pointerup", (event) => { if (held) set(event, true); held = false; });
    canvas.addEventListener("pointercancel", () => { held = false; });
    canvas.addEventListener("keydown", (event) => {
      const [control, sign] = { ArrowLeft: [this.across, -1], ArrowRight: [this.across, 1], ArrowDown: [this.up, -1], ArrowUp: [this.up, 1] }[event.key] ?? [];
      if (!control) return;
      event.preventDefault();
      const k = this.spline.axes.findIndex(({ key }) => key === control.value);
      const { low, high } = this.spline.axes[k];
      const next = this.present[control.value] + sign * this.about(control.value).step;
      this.set({ [control.value]: Math.min(high, Math.max(low, next)) }, true);
    });
  }

  /** Set both sliders to a place of the map, shares of its width and height. */
  move(across, up, rested) {
    const value = (control, share) => {
      const k = this.spline.axes.findIndex(({ key }) => key === control.value);
      const { low, high } = this.spline.axes[k];
      const step = this.about(control.value).step;
      const near = step * Math.round(this.spline.value(k, share) / step);
      return Number(Math.min(high, Math.max(low, near)).toFixed(6));
    };
    this.set({ [this.across.value]: value(this.across, across), [this.up.value]: value(this.up, up) }, rested);
  }

  /** Move sliders, of the stone or of the view. */
  set(values, rested) {
    const ofView = Object.fromEntries(Object.entries(values).filter(([key]) => key in this.workbench.state));
    const ofStone = Object.fromEntries(Object.entries(values).filter(([key]) => !(key in this.workbench.state)));
    if (Object.keys(ofStone).length) this.workbench.edit(ofStone, rested);
    if (Object.keys(ofView).length) this.workbench.look(ofView, rested);
  }
}

/** A list of choices, [value, words] each. */
function choice(id, spoken, choices, changed = () => {}) {
  const list = el("select", { id, ariaLabel: spoken, autocomplete: "off" }, ...choices.map(([value, words]) => el("option", { value }, words)));
  list.addEventListener("change", changed);
  return list;
}

/** Other choices for a list, which keeps what is chosen if it is still there; else `first`, or the first of them. */
function fill(list, choices, first) {
  const key = JSON.stringify(choices);
  if (list.dataset.choices === key) return;
  list.dataset.choices = key;
  const chosen = list.value;
  list.replaceChildren(...choices.map(([value, words]) => el("option", { value }, words)));
  const known = [chosen, first].find((value) => choices.some(([one]) => one === value));
  if (known) list.value = known;
}

/** A ring and a cross at the present stone, dark and light, so that they show on any colour. */
function mark(context, x, y, ratio) {
  for (const [color, width] of [["#000", 4], ["#fff", 1.6]]) {
    context.strokeStyle = color;
    context.lineWidth = width * ratio;
    context.beginPath();
    context.arc(x, y, 6 * ratio, 0, 2 * Math.PI);
    context.stroke();
  }
}

/** A unit as it stands after a number: a degree sign right behind it. */
function glued(unit) {
  return !unit ? "" : unit === "°" ? unit : ` ${unit}`;
}

/** Some of many, and how many more there are. */
function listed(words) {
  return words.length > MOST_NAMED ? `${words.slice(0, MOST_NAMED).join(", ")} and ${words.length - MOST_NAMED} more` : words.join(", ");
}
