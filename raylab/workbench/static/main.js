// Put the page together.

import { Workbench } from "./workbench.js";
import { buildColorControls } from "./color_controls.js";
import { el, fixed, put, slider, readable } from "./controls.js";
import { Darkness } from "./darkness.js";
import { Domes } from "./domes.js";
import { facetName } from "./facet_name.js";
import { AZIMUTH, DISTANCE, SLOPE } from "./facets.js";
import { Background } from "./background.js";
import { buildFiles } from "./files.js";
import { Glance } from "./glance.js";
import { HeatMap } from "./heat_map.js";
import { inclusions } from "./inclusions.js";
import { besideAzimuth } from "./index_wheel.js";
import { Maps } from "./maps.js";
import { Numbers } from "./numbers.js";
import { PANELS, buildPanels, showPanels } from "./panels.js";
import { MOST_RUNS, StoneView } from "./stone_view.js";
import { Strip } from "./strip.js";
import { Strips } from "./strips.js";
import { TiltCurve } from "./tilt_curve.js";

const $ = (id) => document.getElementById(id);
const PATIENCE_MS = 3000;
const MOST_NAMED = 6;

const start = await (await fetch("start.json")).json();
const workbench = new Workbench(start);
const darkness = new Darkness(workbench, $("outline-choice"), $("outline"));
const maps = new Maps(workbench, $("maps"), $("probe"), $("edges"), { darkness });
const numbers = new Numbers(workbench, $("figures"), darkness.element);
const solid = new StoneView(workbench, $("solid-canvas"), $("solid-missing"));

// --- the line with the error message ---------------------------------------------------------------------------------

function complain(error, from) {
  $("problem").hidden = !error;
  $("problem").dataset.from = from ?? "";
  const keys = error ? workbench.blamed(error) : [];
  $("problem-text").textContent = error ? inWords(error, keys) : "";
  $("unit").ariaInvalid = String(error?.key === "unit");
  for (const panel of PANELS) panel.mark?.(keys);
}
/** A message with labels of controls in place of keys; it begins with the controls that were changed, where it names another one. */
function inWords({ text, key }, keys) {
  const label = (key) => [...start.cuts.flatMap(({ parameters }) => parameters), ...start.last_facets].find((one) => one.key === key)?.label;
  const changed = keys.includes(key) ? [] : keys.map(label).filter(Boolean);
  const named = label(key) ? text.replaceAll(key, label(key)) : text;
  const words = named.replace(/\b[a-z]+(?:_[a-z]+)+\b/g, (word) => label(word)?.toLowerCase() ?? word); // what to change instead
  return changed.length ? `${changed.join(", ")} changed: ${words}` : words;
}
$("problem-close").addEventListener("click", () => complain(null));

// --- light and view -----------------------------------------------------------------------------------------------------

const domes = new Domes(workbench, $("dome"), $("dome-note"));
const views = [
  slider({ key: "tilt_deg", label: "Tilt", unit: "°", spoken: "degrees", low: 0, high: 45, step: 0.5, least: 0, most: 90, strip: new Strip(() => ({ key: "tilt_deg" })) },
    (value, rested) => workbench.look({ tilt_deg: value }, rested)),
  slider({ key: "tilt_azimuth_deg", label: "Tilt azimuth", unit: "°", spoken: "degrees", low: 0, high: 360, step: 1, least: -360, most: 360, strip: new Strip(() => ({ key: "tilt_azimuth_deg" })) },
    (value, rested) => workbench.look({ tilt_azimuth_deg: value }, rested)),
];
$("view-controls").append(...views.map(({ element }) => element));
$("face-up").addEventListener("click", () => workbench.look({ tilt_deg: 0, tilt_azimuth_deg: 0 }));

// --- the bar above ------------------------------------------------------------------------------------------------------

buildPanels(workbench, $("tabs"), $("panels"));
buildFiles(workbench, complain);
buildColorControls(workbench, $("light-controls"), complain);
const background = new Background(workbench);
new Glance(workbench, background, $("glance"));
new Strips(workbench, background, $("strip-choice"), new TiltCurve(workbench, $("tilting")));
new HeatMap(workbench, $("heat"));
darkness.listen(background, $("strip-choice"), () => maps.draw());
inclusions.listen(background);
$("undo").addEventListener("click", () => workbench.undo());
$("redo").addEventListener("click", () => workbench.redo());
$("reset").addEventListener("click", () => workbench.replace({ [workbench.state.editing]: workbench.state.opened[workbench.state.editing] }));
$("compare").addEventListener("click", () => {
  if (workbench.state.designs.b) return workbench.replace({ b: null });
  const { opened, titles, designs } = workbench.state;
  workbench.replace({ b: designs.a }, { editing: "b", opened: { ...opened, b: structuredClone(designs.a) }, titles: { ...titles, b: titles.a } });
});
for (const side of ["a", "b"]) {
  $(`edit-${side}`).addEventListener("click", () => {
    workbench.state.editing = side;
    workbench.keep();
    showControls();
    workbench.notify("panel");
    solid.take();
  });
}
addEventListener("keydown", (event) => {
  if (!(event.ctrlKey || event.metaKey) || event.altKey || event.target.dataset?.typed === "1") return;
  const key = event.key.toLowerCase();
  if (key !== "z" && key !== "y") return;
  event.preventDefault();
  if (key === "y" || event.shiftKey) workbench.redo();
  else workbench.undo();
});

/** What takes its ground from the style sheet is drawn anew. */
function redress() {
  solid.draw();
  maps.live.redraw();
}
function theme(word) {
  document.documentElement.dataset.theme = word;
  redress();
}
try { $("theme").value = localStorage.getItem("raylab-theme") ?? "auto"; } catch { $("theme").value = "auto"; }
theme($("theme").value);
$("theme").addEventListener("change", () => {
  theme($("theme").value);
  try { localStorage.setItem("raylab-theme", $("theme").value); } catch { /* the choice then ends with the page */ }
});
matchMedia("(prefers-color-scheme: dark)").addEventListener("change", redress);
for (const button of document.querySelectorAll("[data-sight]")) button.addEventListener("click", () => solid.look(button.dataset.sight));

// --- showing ------------------------------------------------------------------------------------------------------------

function showControls() {
  const { state } = workbench;
  showPanels(workbench);
  views[0].show(state.tilt_deg);
  views[1].show(state.tilt_azimuth_deg);
  domes.show();
  for (const shown of ["textContent", "title"]) put($("title"), shown, state.titles[state.editing] || workbench.design.name || "");
  document.querySelector("main").classList.toggle("pair", workbench.sides.length > 1);
  $("undo").disabled = !workbench.past.length;
  $("redo").disabled = !workbench.future.length;
  const pair = workbench.sides.length > 1;
  $("compare").ariaPressed = String(pair);
  $("editing").hidden = !pair;
  for (const side of ["a", "b"]) $(`edit-${side}`).ariaPressed = String(state.editing === side);
  showFacet();
}

/** The data of the chosen facet. */
function showFacet() {
  const shape = workbench.shapes[workbench.state.editing];
  const f = shape?.facets.findIndex((row) => facetName(row) === workbench.state.facet) ?? -1;
  const card = $("facet-card");
  if (f < 0) {
    if (!card.querySelector("h3") && card.firstChild) return;
    card.replaceChildren(el("p", { className: "note" }, "Drag to turn the stone. Click a facet to highlight in the maps the light that meets it."));
    return;
  }
  const row = shape.facets[f];
  const leaks = workbench.answers[workbench.state.editing]?.arrays.leaks?.[f];
  const clear = el("button", { type: "button" }, "Clear");
  clear.addEventListener("click", () => workbench.look({ facet: null }));
  card.replaceChildren(
    el("div", { className: "row" }, el("h3", {}, facetName(row)), clear),
    el("p", {}, `slope ${readable(row[SLOPE], 3)}°, azimuth ${readable(row[AZIMUTH], 3)}°${besideAzimuth(workbench, row[AZIMUTH])}, ${readable(row[DISTANCE], 4)} mm from the centre, ${readable(shape.areas_mm2[f], 3)} mm²`),
    el("p", {}, leaks === undefined ? "" : `${fixed(100 * leaks, 2)} % of the light leaks through this facet.`),
    el("p", { className: "note" }, "The maps are bright where their light meets this facet, in proportion to the light that remains at that point."),
  );
}

/** The followed ray: the hits where light leaves, and between them the facets of total reflection. */
function showPath(path) {
  const card = $("path-card");
  card.hidden = !path;
  if (!path) return;
  const where = { sky: "leaves to the sky", head: "leaves to the head of the observer", leak: "leaks below the girdle plane", scattered: "scattered" };
  const lines = [];
  let inside = [];
  const reflected = () => {
    if (!inside.length) return;
    const named = inside.length > MOST_NAMED ? [...inside.slice(0, MOST_NAMED), `${inside.length - MOST_NAMED} more`] : inside;
    lines.push(el("li", { className: "quiet" }, `total reflection at ${named.join(", ")}`));
    inside = [];
  };
  path.hits.forEach((hit, k) => {
    if (k && hit.weight < 5e-4) return void inside.push(hit.name);
    reflected();
    const how = k || hit.fate === "scattered" ? "" : " by first-surface reflection";
    lines.push(el("li", {}, el("strong", {}, hit.name), `: ${fixed(100 * hit.weight, 1)} % ${where[hit.fate] ?? ""}${how}`));
  });
  if (inside.length > MOST_NAMED) lines.push(el("li", { className: "quiet" }, `${inside.length} more reflections`));
  else reflected();
  const rest = `Untraced: ${fixed(100 * path.untraced, 1)} %` + (path.absorbed > 5e-4 ? `; absorbed: ${fixed(100 * path.absorbed, 1)} %` : "");
  const drawn = path.hits.length > MOST_RUNS ? ` The drawing shows the first ${MOST_RUNS} hits.` : "";
  const clear = el("button", { type: "button" }, "Clear");
  clear.addEventListener("click", () => workbench.dropPath());
  card.replaceChildren(
    el("div", { className: "row" }, el("h3", {}, "View ray, followed backwards from the eye"), clear),
    ...(lines.length ? [el("ul", {}, ...lines), el("p", { className: "note" }, `${rest}.${drawn}`)] : [el("p", {}, "This point lies outside the stone.")]),
  );
}

const STATES = {
  cut: "No connection to raylab; trying again… After a restart, open the new address in this tab: your work is kept.",
  busy: "working…",
  slow: "working… (the first start on a machine compiles the kernels)",
  fault: "last valid stone shown",
  exact: "up to date",
};
let late = 0;

/** Show the state of the page, and announce it to those who wait for it. */
function showState(word) {
  clearTimeout(late);
  put($("state"), "textContent", STATES[word]);
  $("state").classList.toggle("cut", word === "cut");
  document.documentElement.dataset.state = word;
  if (word === "busy") late = setTimeout(() => { $("state").textContent = STATES.slow; }, PATIENCE_MS);
}

/** What may be drawn late while a slider moves: the page of numbers and the stone in 3D take as long as the maps. */
const SELDOM_MS = 250;
let drawn = 0;

/** Draw all; after a coarse picture (`moving`) tables and stone only now and then. An exact one follows each of them. */
function drawAll(moving = false) {
  maps.draw();
  if (moving && performance.now() - drawn < SELDOM_MS) return;
  numbers.draw();
  solid.take();
  drawn = performance.now();
}

workbench.addEventListener("change", () => { showControls(); if (maps.arrange()) drawAll(); });
workbench.addEventListener("rest", showControls);
workbench.addEventListener("wheel", showControls);
workbench.addEventListener("problem", ({ detail }) => complain(detail, "answer"));
workbench.addEventListener("path", ({ detail }) => { showPath(detail); maps.draw(); solid.draw(); });
workbench.addEventListener("answer", ({ detail: { side, error } }) => {
  if (!workbench.faulty.size && $("problem").dataset.from === "answer") complain(null);
  showControls();
  drawAll(!error && workbench.answers[side].step === "coarse");
  document.documentElement.dataset[`shown${side.toUpperCase()}`] = workbench.shown[side];
});
workbench.addEventListener("requested", ({ detail: { side, id } }) => { document.documentElement.dataset[`requested${side.toUpperCase()}`] = id; });
workbench.addEventListener("link", ({ detail }) => { workbench.cut = detail === "cut"; showState(workbench.cut ? "cut" : "busy"); });
workbench.addEventListener("status", ({ detail }) => { if (!workbench.cut) showState(detail); });
maps.arrange();
showControls();
