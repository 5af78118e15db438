// The strip below a slider: along its whole range, what a number of the stone would be with everything else as it is.
//
// The line joins computed values, the band around it is their error of tracing, a gap is a range that gives no stone. The strip
// has a scale of its own, whose ends stand beside it.

import { el, fixed, readable } from "./controls.js";
import { Curve, pathsOf, scaleOf, shape } from "./curve.js";

const [WIDE, HIGH, EDGE] = [320, 24, 2.5];

export class Strip extends Curve {
  static all = [];

  constructor(source) {
    super(source, null);
    Object.assign(this, { now: NaN, figure: null });
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

  prepare(scene) {
    const found = super.prepare(scene);
    this.element.classList.toggle("empty", !found);
    return found;
  }

  /** The page has changed: the strip of the slider that moves is as true as before, others are behind. */
  fade(moves) {
    this.element.classList.toggle("behind", !moves || document.activeElement !== this.range);
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
    this.element.classList.remove("behind");
    const runs = this.runs(figure.key, coverage);
    this.element.classList.toggle("drawn", runs.length > 0);
    const [low, high] = scaleOf(runs, figure.span);
    const paths = pathsOf(runs, (at) => this.across(at), (value) => EDGE + ((HIGH - 2 * EDGE) * (high - value)) / (high - low));
    this.line.setAttribute("d", paths.line);
    this.band.setAttribute("d", paths.band);
    const digits = figure.unit ? 2 : 3;
    [high, low].forEach((value, k) => { this.ends.children[k].textContent = runs.length ? fixed(value, digits) : ""; });
    this.say(figure);
  }

  /** Nothing to show along the sliders. */
  clear() {
    this.element.classList.remove("drawn");
  }

  /** It can't be drawn, and why. */
  fail(words) {
    this.element.title = `Not drawn: ${words}`;
  }

  /** The strip in words, as tooltip and for who can't see it. */
  say(figure) {
    const { about } = this;
    const points = this.points.filter(Boolean); // without the places that are not computed yet
    const unit = (value) => `${readable(value, 3)} ${about.spoken ?? about.unit ?? ""}`.trim();
    const known = points.map((point) => point.numbers[figure.key]).filter((value) => value !== undefined);
    const found = known.filter((value) => value !== null);
    const none = points.find((point) => point.reason)?.reason;
    const digits = figure.unit ? 3 : 4;
    const number = (value) => `${fixed(value, digits)} ${figure.unit}`.trim();
    const along = `along ${about.label}, ${unit(about.low)} to ${unit(about.high)}, with everything else as it is`;
    const words = found.length
      ? `${figure.label} ${along}: from ${number(Math.min(...found))} to ${number(Math.max(...found))}; here ${number(this.near(figure.key, this.now))}` +
        (none ? `. Gaps give no stone: ${none}` : "")
      : known.length && points.every(({ reason }) => reason) ? `no stone ${along}: ${none}`
      : known.length ? `${figure.label}: a number of long stones only` : `${figure.label} ${along}: not computed yet`;
    this.picture.ariaLabel = this.element.title = words[0].toUpperCase() + words.slice(1);
  }
}
