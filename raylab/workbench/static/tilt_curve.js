// The number that stands along each slider, drawn against the tilt for stone A and stone B on one scale. A click sets the tilt.
//
// Lines join computed values, the band around a line is their error of tracing. The stones lean towards the tilt azimuth of the
// page and stand under its dome.

import { el, fixed, readable } from "./controls.js";
import { Curve, pathsOf, scaleOf, shape } from "./curve.js";

const ABOUT = { low: 0, high: 45 };
const TICKS = [0, 10, 20, 30, 40];
const [WIDE, HIGH, EDGE] = [450, 150, 4];
const FINEST_DEG = 0.5;
const across = (tilt) => (WIDE * Math.min(ABOUT.high, Math.max(ABOUT.low, tilt))) / ABOUT.high;

/** The curve of one stone. */
class OfStone extends Curve {
  constructor(chart, side) {
    const { state } = chart.workbench;
    super(() => (state.designs[side] ? { key: "tilt_deg", design: state.designs[side], side } : null), ABOUT);
    Object.assign(this, { chart, side });
    this.band = shape("path", { class: "tilt-band" });
    this.line = shape("path", { class: `tilt-line ${side}`, "data-tilt-curve": side });
  }

  prepare(scene) {
    return !this.chart.root.hidden && super.prepare(scene);
  }

  draw() {
    this.chart.draw();
  }

  clear() {}

  fail(words) {
    this.chart.say(`Not drawn: ${words}`);
  }
}

export class TiltCurve {
  constructor(workbench, root) {
    Object.assign(this, { workbench, root, figure: null });
    this.curves = ["a", "b"].map((side) => new OfStone(this, side));
    this.head = el("h2", {}, "Against the tilt");
    this.here = shape("line", { class: "strip-here", y1: 0, y2: HIGH });
    this.picture = shape("svg", { id: "tilt-picture", role: "img", viewBox: `0 0 ${WIDE} ${HIGH}`, preserveAspectRatio: "none" });
    for (const tick of TICKS) this.picture.append(shape("line", { class: "tilt-grid", x1: across(tick), x2: across(tick), y1: 0, y2: HIGH }));
    for (const { band } of this.curves) this.picture.append(band);
    this.picture.append(this.here, ...this.curves.map(({ line }) => line));
    this.ends = el("div", { className: "strip-ends", ariaHidden: "true" }, el("span"), el("span"));
    this.ticks = el("div", { className: "tilt-ticks", ariaHidden: "true" }, ...TICKS.map((tick) => {
      const label = el("span", {}, `${tick}°`);
      label.style.left = `${(100 * tick) / ABOUT.high}%`;
      return label;
    }));
    this.words = el("p", { className: "note" });
    root.append(this.head, el("div", { className: "tilt-frame" }, this.picture, this.ends, this.ticks), this.words);
    this.hear();
    workbench.addEventListener("change", () => this.mark());
  }

  /** A press sets the tilt, and so does a drag; the pointer alone reads the curves. */
  hear() {
    const tilt = ({ clientX }) => {
      const { left, width } = this.picture.getBoundingClientRect();
      const found = ABOUT.low + ((ABOUT.high - ABOUT.low) * (clientX - left)) / width;
      return FINEST_DEG * Math.round(Math.min(ABOUT.high, Math.max(ABOUT.low, found)) / FINEST_DEG);
    };
    let held = false;
    const set = (event, rested) => this.workbench.look({ tilt_deg: tilt(event) }, rested);
    this.picture.addEventListener("pointerdown", (event) => {
      if (event.button) return;
      held = true;
      this.picture.setPointerCapture(event.pointerId);
      set(event, false);
    });
    this.picture.addEventListener("pointermove", (event) => {
      if (held) set(event, false);
      this.read(tilt(event));
    });
    this.picture.addEventListener("pointerup", (event) => { if (held) set(event, true); held = false; });
    this.picture.addEventListener("pointercancel", () => { held = false; });
    this.picture.addEventListener("pointerleave", () => this.explain());
  }

  /** The page shows a number along its sliders, or none; one that doesn't depend on the view has no curve. */
  arrange(figure) {
    this.figure = figure?.of_view ? figure : null;
    this.root.hidden = !this.figure;
    this.mark();
  }

  /** The page has changed: a curve is behind unless it is still true, as it is while only the tilt moves. */
  fade() {
    const scene = this.workbench.scene(this.workbench.state.editing);
    const behind = this.curves.some((curve) => (curve.questionOf(scene)?.name ?? "") !== (curve.source() ? curve.name : ""));
    this.root.classList.toggle("behind", behind);
  }

  mark() {
    const x = across(this.workbench.state.tilt_deg);
    this.here.setAttribute("x1", x);
    this.here.setAttribute("x2", x);
  }

  get shown() {
    return this.curves.filter((curve) => curve.source() && curve.points.length);
  }

  draw() {
    const { figure } = this;
    if (!figure) return;
    const found = this.shown.map((curve) => [curve, curve.runs(figure.key, this.workbench.start.coverage)]);
    const [low, high] = scaleOf(found.flatMap(([, runs]) => runs), figure.span);
    const up = (value) => EDGE + ((HIGH - 2 * EDGE) * (high - value)) / (high - low);
    for (const curve of this.curves) {
      const runs = found.find(([one]) => one === curve)?.[1] ?? [];
      const paths = pathsOf(runs, across, up);
      curve.line.setAttribute("d", paths.line);
      curve.band.setAttribute("d", paths.band);
    }
    const any = found.some(([, runs]) => runs.length);
    [high, low].forEach((value, k) => { this.ends.children[k].textContent = any ? fixed(value, 3) : ""; });
    this.root.classList.remove("behind");
    this.head.textContent = `${figure.label[0].toUpperCase()}${figure.label.slice(1)} against the tilt`;
    this.picture.ariaLabel = this.inWords(found, any);
    this.explain();
  }

  inWords(found, any) {
    if (!any) return "Nothing to draw against the tilt";
    const each = found.map(([curve, runs]) => {
      const values = runs.flat().map(({ value }) => value);
      return `${found.length > 1 ? `stone ${curve.side.toUpperCase()} ` : ""}from ${fixed(Math.min(...values), 3)} to ${fixed(Math.max(...values), 3)}`;
    });
    return `${this.head.textContent}, ${ABOUT.low} to ${ABOUT.high} degrees: ${each.join("; ")}`;
  }

  /** The curves' numbers at a tilt, as far as a line between computed places tells them. */
  read(tilt) {
    if (!this.figure || !this.shown.length) return;
    const numbers = this.shown.map((curve) => `${this.shown.length > 1 ? `${curve.side.toUpperCase()} ` : ""}${fixed(curve.near(this.figure.key, tilt), 2)}`);
    this.say(`${this.figure.label} at ${readable(tilt, 1)}°: about ${numbers.join(", ")}`);
  }

  explain() {
    const pair = this.workbench.sides.length > 1 ? "A is the full line, B the dashed one. " : "";
    this.say(`${pair}The table leans towards azimuth ${readable(this.workbench.state.tilt_azimuth_deg, 1)}°. Click to set the tilt.`);
  }

  say(words) {
    this.words.textContent = words;
  }
}
