// The page's maps, sliders and numbers within a notebook; `rl.explore` sends this module and those that it imports.

import { el, fixed, slider } from "./controls.js";
import { facets } from "./facets.js";
import { KernelLink } from "./kernel_link.js";
import { Maps } from "./maps.js";
import { Numbers } from "./numbers.js";
import { proportions } from "./proportions.js";
import { Workbench } from "./workbench.js";

const STATES = { cut: "the kernel does not answer", busy: "working…", fault: "last valid stone shown", exact: "up to date" };

/** Build the explorer in an element of a notebook's page, and return what takes it away again. */
export function build(model, host, style) {
  const outside = host.appendChild(el("div", { className: "raylab-explorer", "data-lm-suppress-shortcuts": "true" }));
  const shadow = outside.attachShadow({ mode: "open" }); // neither the notebook's styles nor ours leave their side
  const part = Object.fromEntries(["heading", "short", "problem", "history", "work", "light", "facets", "maps", "probe", "state", "path"].map((name) => [name, el("div", { className: name })]));
  part.maps.id = "maps"; // the names that the page's style sheets know
  const figures = el("div", { id: "figures" });
  const fold = el("details", {}, el("summary", {}, "Facets"), part.facets);
  const edges = el("input", { type: "checkbox", checked: true });
  const under = el("div", { className: "under-maps" }, el("label", { className: "quiet" }, edges, " Facet edges"), part.probe, part.state);
  const body = el("div", { className: "explorer" },
    el("div", { className: "head" }, part.heading, part.short, part.history), part.problem,
    el("div", { className: "side" }, part.work, part.light, fold), el("div", { className: "seen" }, part.maps, under, part.path), figures,
    el("p", { className: "note caution" }, "raylab gives no grade, no valuation and no cutting order."));
  shadow.append(el("style", {}, style), body);

  const start = model.get("start");
  let link = null;
  const workbench = new Workbench(start, {
    connect: (...on) => (link = new KernelLink(model, ...on)),
    kept: () => (model.get("state").designs ? structuredClone(model.get("state")) : null),
    keep: (_, state) => {
      model.set("state", structuredClone(state));
      model.save_changes();
    },
  });
  const maps = new Maps(workbench, part.maps, part.probe, edges, { colored: false });
  const numbers = new Numbers(workbench, figures);
  const controls = [history(workbench, part.history), light(workbench, part.light)];
  proportions.build(part.work, workbench);
  facets.build(part.facets, workbench);
  fold.addEventListener("toggle", () => show());

  const show = () => {
    proportions.show(workbench);
    if (fold.open) facets.show(workbench);
    for (const one of controls) one();
    part.heading.textContent = workbench.state.titles.a || workbench.design.name || "";
  };
  const draw = () => {
    part.short.textContent = inShort(workbench.answers.a);
    maps.draw();
    numbers.draw();
  };
  workbench.addEventListener("change", () => { show(); if (maps.arrange()) draw(); });
  workbench.addEventListener("rest", show);
  workbench.addEventListener("path", ({ detail }) => {
    part.path.replaceChildren(...(detail ? followed(detail) : []));
    maps.draw();
  });
  workbench.addEventListener("problem", ({ detail }) => {
    part.problem.textContent = detail.text;
    proportions.mark(workbench.blamed(detail));
  });
  workbench.addEventListener("answer", () => {
    if (!workbench.faulty.size) {
      part.problem.textContent = "";
      proportions.mark([]);
    }
    show();
    draw();
    outside.dataset.shown = workbench.shown.a;
  });
  workbench.addEventListener("status", ({ detail }) => {
    part.state.textContent = STATES[detail];
    outside.dataset.state = detail;
  });
  maps.arrange();
  show();
  const undress = dress(host, outside, () => maps.live.redraw());
  return () => {
    undress();
    maps.live.end();
    link.close();
    outside.remove();
  };
}

/** The numbers that everybody looks at first. */
function inShort(answer) {
  if (!answer) return "";
  const { summary: { stats, ledger }, weight_ct } = answer;
  return `brightness ${fixed(stats.brightness)}, contrast ${fixed(stats.contrast_rms)}, leak ${fixed(ledger.leak)}, ${fixed(weight_ct, 3)} ct`;
}

/** Undo, redo, reset. */
function history(workbench, root) {
  const button = (text, act) => {
    const made = el("button", { type: "button" }, text);
    made.addEventListener("click", act);
    root.append(made);
    return made;
  };
  const undo = button("Undo", () => workbench.undo());
  const redo = button("Redo", () => workbench.redo());
  button("Reset", () => workbench.replace({ a: workbench.state.opened.a }));
  return () => {
    undo.disabled = !workbench.past.length;
    redo.disabled = !workbench.future.length;
  };
}

/** Where the light of a followed view ray leaves, at its hits of more than 0.5 %. */
function followed({ hits }) {
  const words = hits.filter(({ weight, fate }) => fate && weight > 0.005).map(({ name, weight, fate }) => `${name}: ${fixed(100 * weight, 1)} % ${fate}`);
  return [el("p", { className: "note" }, hits.length ? `View ray of this point: ${words.join("; ")}.` : "This point lies outside the stone.")];
}

/** The dome and the tilt. */
function light(workbench, root) {
  const dome = el("select", { id: "dome" }, ...workbench.start.domes.map(({ name }) => el("option", { value: name }, name.replaceAll("-", " "))));
  dome.addEventListener("change", () => workbench.look({ dome: dome.value }));
  const views = [["tilt_deg", "Tilt", 45, 0.5, 0, 90], ["tilt_azimuth_deg", "Tilt azimuth", 360, 1, -360, 360]].map(([key, label, high, step, least, most]) =>
    slider({ key, label, unit: "°", spoken: "degrees", low: 0, high, step, least, most }, (value, rested) => workbench.look({ [key]: value }, rested)));
  const note = el("p", { className: "note" });
  root.append(el("fieldset", { className: "controls" }, el("legend", {}, "Light and view"),
    el("label", { className: "row" }, el("span", {}, "Dome"), dome), note, ...views.map(({ element }) => element)));
  return () => {
    dome.value = workbench.state.dome;
    note.textContent = workbench.start.domes.find(({ name }) => name === workbench.state.dome)?.description ?? "";
    views[0].show(workbench.state.tilt_deg);
    views[1].show(workbench.state.tilt_azimuth_deg);
  };
}

/** Light or dark as the notebook is, by the colour of its text; notebooks name their themes in different ways. */
function dress(host, outside, redraw) {
  const look = () => {
    const [red, green, blue] = getComputedStyle(host).color.match(/[\d.]+/g).map(Number);
    outside.dataset.theme = 0.3 * red + 0.6 * green + 0.1 * blue > 128 ? "dark" : "light";
    redraw();
  };
  const watch = new MutationObserver(look);
  for (const element of [document.documentElement, document.body]) watch.observe(element, { attributes: true });
  look();
  return () => watch.disconnect();
}
