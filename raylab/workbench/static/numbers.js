// The numbers: ledger with bars, statistics with their brackets, weight and size; for two stones, their difference.

import { el, fixed, signed } from "./controls.js";

export class Numbers {
  constructor(workbench, root) {
    Object.assign(this, { workbench, root });
  }

  draw() {
    const { workbench } = this;
    const sides = workbench.sides.filter((side) => workbench.answers[side]);
    if (sides.length !== workbench.sides.length) return;
    this.root.classList.toggle("pair", sides.length > 1);
    const { statistics } = workbench.start; // the library's own table
    const [entries, others] = [true, false].map((entry) => statistics.filter((one) => one.entry === entry));
    this.root.replaceChildren(
      this.table("Ledger: where the light goes", entries, (summary, key) => statistic(summary, summary.ledger[key], key), sides, true),
      el("div", {}, this.table("Statistics", others, (summary, key) => statistic(summary, summary.stats[key], key), sides, false), this.stone(sides), ...this.notes(sides)),
    );
    this.root.classList.toggle("behind", workbench.faulty.size > 0);
  }

  table(title, rows, get, sides, bars) {
    const heads = sides.length > 1 ? ["", "A", "B", "B − A"] : ["", "value [bracket]"];
    const body = rows.map(({ key, label, definition, entry }) => {
      const found = sides.map((side) => get(this.workbench.answers[side].summary, key));
      const cells = found.map((one, at) => cell(one, `${key}.${sides[at]}`, bars));
      if (found.length > 1) cells.push(difference(...found));
      return el("tr", {}, el("th", { scope: "row" }, el("abbr", { title: definition }, entry ? key : label)), ...cells);
    });
    return el("table", {}, el("caption", {}, title),
      el("thead", {}, el("tr", {}, ...heads.map((head) => el(head ? "th" : "td", head ? { scope: "col" } : {}, head)))), el("tbody", {}, ...body));
  }

  /** Notes on the numbers, such as a bracket wider than the requested precision. A missing statistic has its note in its row. */
  notes(sides) {
    const known = new Set(this.workbench.start.statistics.map(({ key }) => key));
    return sides.flatMap((side) => Object.entries(this.workbench.answers[side].summary.notes ?? {})
      .filter(([subject]) => !known.has(subject))
      .map(([subject, note]) => el("p", { className: "note" }, `${sides.length > 1 ? `${side.toUpperCase()}: ` : ""}${subject}: ${note}`)));
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
    const rows = [
      row("weight_ct", "weight", answers.map(({ weight_ct }) => weight_ct), 3, "ct"),
      row("diameter_mm", "girdle diameter", measured("diameter_mm"), 3, "mm"),
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

function statistic(summary, value, key) {
  if (value === undefined || value === null) return { note: summary.notes?.[key] ?? "not defined" };
  const [low, high] = summary.brackets[key];
  return { value, low, high, error: summary.errors[key] };
}

function cell(one, name, bar) {
  if (one.value === undefined) return el("td", { className: "bracket", "data-number": name }, one.note);
  const { value, low, high, error } = one;
  const around = error > 0 ? `± ${fixed(error, 4)}` : `[${fixed(low)}, ${fixed(high)}]`;
  return el("td", { "data-number": name, title: `${value} in [${low}, ${high}]${error > 0 ? ` ± ${error}` : ""}` },
    fixed(value), " ", el("span", { className: "bracket" }, around), ...(bar ? [ledgerBar(value, high)] : []));
}

/** A bar from 0 to the value, hatched up to the upper end of the bracket. */
function ledgerBar(value, high) {
  const [sure, more] = [el("i"), el("i")];
  sure.style.width = `${100 * value}%`;
  more.style.left = `${100 * value}%`;
  more.style.width = `${100 * Math.max(0, high - value)}%`;
  return el("span", { className: "ledger-bar", ariaHidden: "true" }, sure, more);
}

/** B minus A with the bracket that follows from both, or "not significant" if zero lies within it. */
function difference(a, b) {
  if (a.value === undefined || b.value === undefined) return el("td", {}, "–");
  const sampled = 2 * Math.hypot(a.error, b.error);
  const [low, high] = [b.low - a.high - sampled, b.high - a.low + sampled];
  const open = low <= 0 && high >= 0;
  return el("td", { title: `between ${low} and ${high}` }, signed(b.value - a.value, 4), " ",
    el("span", { className: "bracket" }, open ? "not significant" : `[${signed(low, 4)}, ${signed(high, 4)}]`));
}
