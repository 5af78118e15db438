// The numbers: ledger with bars, statistics with their standard errors, weight and size; for two stones, their difference.
//
// A number is an estimate with the standard error of tracing; the bracket, which holds for certain, is shown on hover.

import { el, fixed, signed } from "./controls.js";
import { materialNotes } from "./material.js";

export class Numbers {
  /** `more` is an element with further numbers that stands below the ledger. */
  constructor(workbench, root, more = null) {
    Object.assign(this, { workbench, root, more });
  }

  draw() {
    const { workbench } = this;
    const sides = workbench.sides.filter((side) => workbench.answers[side]);
    if (sides.length !== workbench.sides.length) return;
    this.root.classList.toggle("pair", sides.length > 1);
    const { statistics } = workbench.start; // the library's own table
    const [entries, others] = [true, false].map((entry) => statistics.filter((one) => one.entry === entry));
    this.root.replaceChildren(
      el("div", {}, this.table("Ledger: where the light goes", entries, (summary, key) => statistic(summary, summary.ledger[key], key), sides, true), ...(this.more ? [this.more] : [])),
      el("div", {}, this.table("Statistics", others, (summary, key) => statistic(summary, summary.stats[key], key), sides, false), this.stone(sides), ...this.notes(sides)),
    );
    this.root.classList.toggle("behind", workbench.faulty.size > 0);
  }

  table(title, rows, get, sides, bars) {
    const heads = sides.length > 1 ? ["", "A", "B", "B − A"] : ["", "value ± error"];
    const body = rows.map(({ key, label, definition, entry }) => {
      const found = sides.map((side) => get(this.workbench.answers[side].summary, key));
      const cells = found.map((one, at) => cell(one, `${key}.${sides[at]}`, bars));
      if (found.length > 1) cells.push(difference(...found, this.workbench.start.coverage));
      return el("tr", {}, el("th", { scope: "row" }, el("abbr", { title: definition }, entry ? key : label)), ...cells);
    });
    return el("table", {}, el("caption", {}, title),
      el("thead", {}, el("tr", {}, ...heads.map((head) => el(head ? "th" : "td", head ? { scope: "col" } : {}, head)))), el("tbody", {}, ...body));
  }

  /** What the numbers mean, and notes such as a bracket wider than the requested precision. A missing statistic has its note in its row. */
  notes(sides) {
    const { start, answers } = this.workbench;
    const known = new Set(start.statistics.map(({ key }) => key));
    const lines = sides.flatMap((side) => Object.entries(answers[side].summary.notes ?? {})
      .filter(([subject]) => !known.has(subject))
      .map(([subject, note]) => `${sides.length > 1 ? `${side.toUpperCase()}: ` : ""}${subject}: ${note}`));
    const pair = `Not resolved: smaller than ${start.coverage} standard errors of tracing. Errors of measurement are not counted here; the report counts them.`;
    const meaning = ["± is the standard error of tracing, left out where it rounds to zero. Point at a number to see its certain bracket."];
    const sampled = sides.map((side) => answers[side]).filter(({ exact }) => !exact).slice(0, 1).flatMap(sampledNote);
    return [...sampled, ...[...materialNotes(this.workbench, sides), ...meaning, ...(sides.length > 1 ? [pair] : []), ...lines].map((line) => el("p", { className: "note" }, line))];
  }

  /** Weight and size, as measured on the stone. */
  stone(sides) {
    const answers = sides.map((side) => this.workbench.answers[side]);
    const row = (key, label, values, digits, unit) => {
      const cells = values.map((value, at) => el("td", { "data-number": `${key}.${sides[at]}` }, `${fixed(value, digits)} ${unit}`));
      if (values.length > 1) cells.push(el("td", {}, `${signed(values[1] - values[0], digits)} ${unit}`));
      return el("tr", {}, el("th", { scope: "row" }, label), ...cells);
    };
    const measured = (key) => answers.map((answer) => answer.measured?.[key]?.mean ?? answer.measured?.[key] ?? NaN);
    const extents = answers.map((answer) => answer.measured?.extent);
    const extent = (key, label) => row(key, label, extents.map((one) => one?.[key] ?? NaN), 3, "mm");
    const size = extents.every((one) => one?.round)
      ? [row("diameter_mm", "girdle diameter", measured("diameter_mm"), 3, "mm")]
      : [extent("length_mm", "length"), extent("width_mm", "width")];
    const rows = [
      row("weight_ct", "weight", answers.map(({ weight_ct }) => weight_ct), 3, "ct"),
      ...size,
      row("depth_pct", "total depth", measured("depth_pct"), 2, "%"),
      row("spread_mm2_per_ct", "spread", measured("spread_mm2_per_ct"), 2, "mm²/ct"),
    ];
    if (answers.length > 1) {
      const points = 100 * (answers[1].weight_ct - answers[0].weight_ct);
      rows[0].lastChild.textContent = `${signed(points, 2)} points`;
    }
    return el("table", {}, el("caption", {}, "Weight and size"), el("tbody", {}, ...rows));
  }
}

/** Which engine traced a picture that the exact one refuses, and what the page then lacks; nothing for an exact picture. */
export function sampledNote({ exact, summary }) {
  return exact ? [] : [el("p", { className: "note sampled" }, `Sampled by the engine ${summary.engine}: the exact engine traces neither inclusions nor facets that scatter. ` +
    "Without it the page has no light of single facets, no leakage by facet and no dark areas.")];
}

function statistic(summary, value, key) {
  if (value === undefined || value === null) return { note: summary.notes?.[key] ?? "not defined" };
  const [low, high] = summary.brackets[key];
  return { value, low, high, error: summary.errors[key] };
}

function cell(one, name, bar) {
  if (one.value === undefined) return el("td", { "data-number": name }, el("span", { className: "bracket" }, one.note));
  const { value, low, high, error } = one;
  const hover = `${fixed(value, 6)} ± ${fixed(error, 6)} (standard error)` +
    (hasBracket(one) ? `; certainly between ${fixed(low, 6)} and ${fixed(high, 6)}` : "");
  return el("td", { "data-number": name, title: hover },
    fixed(value), " ", el("span", { className: "bracket" }, plusMinus(error)), ...(bar ? [ledgerBar(low, high)] : []));
}

/** False for a number that is sampled as a whole: it has an error alone. */
function hasBracket({ low, high, error }) {
  return low < high || error === 0;
}

/** A standard error, or nothing where it rounds to zero. */
function plusMinus(error) {
  return Number(fixed(error)) > 0 ? `± ${fixed(error)}` : "";
}

/** A bar from 0 to the lower end of the bracket, hatched up to the upper end. */
function ledgerBar(low, high) {
  const [sure, more] = [el("i"), el("i")];
  sure.style.width = `${100 * low}%`;
  more.style.left = `${100 * low}%`;
  more.style.width = `${100 * Math.max(0, high - low)}%`;
  return el("span", { className: "ledger-bar", ariaHidden: "true" }, sure, more);
}

/** B minus A with its standard error: "not resolved" up to `coverage` of them, "equal" if it is zero, or all that it may be rounds to zero. */
function difference(a, b, coverage) {
  if (a.value === undefined || b.value === undefined) return el("td", {}, "–");
  const apart = b.value - a.value;
  const error = Math.hypot(a.error, b.error);
  const equal = apart === 0 || Number(fixed(Math.abs(apart) + coverage * error)) === 0;
  const words = equal ? "equal" : Math.abs(apart) > coverage * error ? plusMinus(error) : "not resolved";
  const hover = `${signed(apart, 6)} ± ${fixed(error, 6)} (standard error of tracing)` +
    (hasBracket(a) && hasBracket(b) ? `; certainly between ${signed(b.low - a.high, 6)} and ${signed(b.high - a.low, 6)}` : "");
  return el("td", { title: hover }, signed(apart, 4), " ", el("span", { className: "bracket" }, words));
}
