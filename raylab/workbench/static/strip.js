// The strip below a slider: along its whole range, what a number of the stone would be with everything else as it is.
//
// The line joins computed values, the band around it is their error of tracing, a gap is a range that gives no stone. The strip
// has a scale of its own, whose ends stand beside it.

import { el, fixed, tidy } from "./controls.js";

/** Computed places along a strip, from a first glance to the whole; each holds the ones before. */
export const COUNTS = [9, 17, 33];
const PLACES = Math.max(...COUNTS);
const [WIDE, HIGH, EDGE] = [320, 24, 2.5];

const shape = (name, values) => {
  const made = document.createElementNS("http://www.w3.org/2000/svg", name);
  for (const [key, value] of Object.entries(values)) made.setAttribute(key, value);
  return made;
};

export class Strip {
  static all = [];

  /** `source()` gives the { key, design } that the slider changes, without `design` that of the page; null where it has none now. */
  constructor(source) {
    Object.assign(this, { source, now: NaN, key: "", points: [], asked: null, figure: null });
  }

  /** Take the place below a slider: `about` is its { key, label, spoken, unit, low, high }. Returns this. */
  below(about, id, range) {
    Object.assign(this, { about, range });
    this.band = shape("path", { class: "strip-band" });
    this.line = shape("path", { class: "strip-line" });
    this.here = shape("line", { class: "strip-here", y1: 0, y2: HIGH });
    this.picture = shape("svg", { id: `strip-${id}`, role: "img", viewBox: `0 0 ${WIDE} ${HIGH}`, preserveAspectRatio: "none" });
    this.picture.append(this.band, this.line, this.here);
    this.ends = el("div", { className: "strip-ends", ariaHidden: "true" }, el("span"), el("span"));
    this.element = el("div", { className: "strip", "data-strip": about.key }, this.picture, this.ends);
    range.setAttribute("aria-describedby", this.picture.id);
    Strip.all.push(this);
    return this;
  }

  /** Whether the slider can be seen, scrolled away or not. */
  get shown() {
    return this.element.isConnected && this.element.getClientRects().length > 0;
  }

  /** Take up the scene of the page; what was computed stays where it is still true. */
  prepare(scene) {
    const source = this.source();
    this.element.classList.toggle("empty", !source);
    if (!source) return false;
    const { key, design = scene.design } = source;
    const whole = { ...scene, design, key };
    const others = key in scene ? { ...whole, [key]: null } : { ...whole, design: { ...design, [key]: null } };
    const name = JSON.stringify(others);
    if (name !== this.key) {
      this.points = [];
      this.key = name;
    }
    this.asked = whole;
    return true;
  }

  /** The places among `count` that are not computed yet. */
  missing(count) {
    const step = (PLACES - 1) / (count - 1);
    return Array.from({ length: count }, (_, k) => k * step).filter((place) => !this.points[place]);
  }

  value(place) {
    return this.about.low + ((this.about.high - this.about.low) * place) / (PLACES - 1);
  }

  question(places) {
    return { ...this.asked, step: "coarse", values: places.map((place) => this.value(place)) };
  }

  /** Take up an answer: the first of the places that were asked for. */
  take({ values, numbers, errors, reasons }, places) {
    values.forEach((_, k) => {
      const at = (table) => Object.fromEntries(Object.entries(table).map(([key, column]) => [key, column[k]]));
      this.points[places[k]] = { numbers: at(numbers), errors: at(errors), reason: reasons[k] };
    });
  }

  /** Show where the slider stands. */
  mark(value) {
    if (value === this.now) return; // all controls are shown with each move, and all but one stay
    this.now = value;
    const x = this.across(value);
    this.here.setAttribute("x1", x);
    this.here.setAttribute("x2", x);
    if (this.figure) this.say(this.figure);
  }

  across(value) {
    const { low, high } = this.about;
    return (WIDE * (Math.min(high, Math.max(low, value)) - low)) / (high - low);
  }

  /** Draw a number (see `start.strips`), with a band of `coverage` standard errors. */
  draw(figure, coverage) {
    this.figure = figure;
    const runs = this.runs(figure.key, coverage);
    const all = runs.flat();
    this.element.classList.toggle("drawn", all.length > 0);
    let [low, high] = [Math.min(...all.map(({ low }) => low)), Math.max(...all.map(({ high }) => high))];
    const more = Math.max(0, figure.span - (high - low)) / 2;
    [low, high] = [low - more, high + more];
    const y = (value) => (EDGE + ((HIGH - 2 * EDGE) * (high - value)) / (high - low)).toFixed(2);
    const joined = (points) => points.map(([x, value], k) => `${k ? "L" : "M"}${x.toFixed(1)} ${y(value)}`).join("");
    this.line.setAttribute("d", runs.map((run) => joined(ends(run).map(({ x, value }) => [x, value]))).join(""));
    this.band.setAttribute("d", runs.map(ends).map((run) =>
      joined([...run.map(({ x, low }) => [x, low]), ...run.toReversed().map(({ x, high }) => [x, high])]) + "Z").join(""));
    const digits = figure.unit ? 2 : 3;
    [high, low].forEach((value, k) => { this.ends.children[k].textContent = all.length ? fixed(value, digits) : ""; });
    this.say(figure);
  }

  /** Computed points in runs without a gap. */
  runs(name, coverage) {
    const runs = [[]];
    this.points.forEach((point, place) => {
      const value = point.numbers[name];
      if (value === null) return void runs.push([]);
      const error = coverage * (point.errors[name] ?? 0);
      runs.at(-1).push({ x: this.across(this.value(place)), at: this.value(place), value, low: value - error, high: value + error });
    });
    return runs.filter((run) => run.length);
  }

  /** The strip in words, as tooltip and for who can't see it. */
  say(figure) {
    const { about } = this;
    const points = this.points.filter(Boolean); // without the places that are not computed yet
    const unit = (value) => `${tidy(value, 3)} ${about.spoken ?? about.unit ?? ""}`.trim();
    const found = points.filter((point) => point.numbers[figure.key] !== null).map((point) => point.numbers[figure.key]);
    const none = points.find((point) => point.reason)?.reason;
    const digits = figure.unit ? 3 : 4;
    const number = (value) => `${fixed(value, digits)} ${figure.unit}`.trim();
    const along = `along ${about.label}, ${unit(about.low)} to ${unit(about.high)}, with everything else as it is`;
    const words = found.length
      ? `${figure.label} ${along}: from ${number(Math.min(...found))} to ${number(Math.max(...found))}; here ${number(this.near(figure.key))}` +
        (none ? `. Gaps give no stone: ${none}` : "")
      : points.length ? `no stone ${along}: ${none}` : `${figure.label} ${along}: not computed yet`;
    this.picture.ariaLabel = this.element.title = words[0].toUpperCase() + words.slice(1);
  }

  /** The number where the slider stands, on the line. */
  near(name) {
    for (const run of this.runs(name, 0)) {
      for (let k = 0; k < run.length; k++) {
        const [one, next] = [run[k], run[k + 1] ?? run[k]];
        if (this.now < one.at || this.now > next.at) continue;
        const share = next.at > one.at ? (this.now - one.at) / (next.at - one.at) : 0;
        return one.value + share * (next.value - one.value);
      }
    }
    return NaN;
  }
}

/** A run that can be seen: a single point becomes a short dash. */
function ends(run) {
  return run.length > 1 ? run : [{ ...run[0], x: run[0].x - 2 }, { ...run[0], x: run[0].x + 2 }];
}
