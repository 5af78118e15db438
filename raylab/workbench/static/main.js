// Put the page together.

import { Workbench } from "./workbench.js";
import { el, fixed, slider, tidy } from "./controls.js";
import { AZIMUTH, DISTANCE, SLOPE, facetName } from "./facets.js";
import { buildFiles } from "./files.js";
import { Maps } from "./maps.js";
import { Numbers } from "./numbers.js";
import { PANELS, buildPanels, showPanels } from "./panels.js";
import { MOST_RUNS, Solid } from "./stone_view.js";

const $ = (id) => document.getElementById(id);
const PATIENCE_MS = 3000;
const MOST_NAMED = 6;

const start = await (await fetch("/start.json")).json();
const workbench = new Workbench(start);
const maps = new Maps(workbench, $("maps"), $("probe"), $("edges"));
const numbers = new Numbers(workbench, $("figures"));
const solid = new Solid(workbench, $("solid-canvas"), $("solid-missing"));

// --- the line that says what went wrong ---------------------------------------------------------------------------------

function complain(error, from) {
  $("problem").hidden = !error;
  $("problem").dataset.from = from ?? "";
  $("problem-text").textContent = error ? inWords(error) : "";
  for (const panel of PANELS) panel.mark?.(error?.key ?? null);
}
/** A message with the label of the control it names instead of the key. */
function inWords({ text, key }) {
  const about = [...start.cuts.flatMap(({ parameters }) => parameters), ...start.last_facets].find((one) => one.key === key);
  return about ? text.replaceAll(key, about.label) : text;
}
$("problem-close").addEventListener("click", () => complain(null));

// --- light and view -----------------------------------------------------------------------------------------------------

$("dome").append(...start.domes.map(({ name }) => el("option", { value: name }, name.replaceAll("-", " "))));
$("dome").addEventListener("change", () => workbench.look({ dome: $("dome").value }));
const views = [
  slider({ key: "tilt_deg", label: "Tilt", unit: "°", spoken: "degrees", low: 0, high: 45, step: 0.5, least: 0, most: 90 },
    (value, rested) => workbench.look({ tilt_deg: value }, rested)),
  slider({ key: "tilt_azimuth_deg", label: "Tilt towards", unit: "°", spoken: "degrees", low: 0, high: 360, step: 1, least: -360, most: 360 },
    (value, rested) => workbench.look({ tilt_azimuth_deg: value }, rested)),
];
$("view-controls").append(...views.map(({ element }) => element));
$("face-up").addEventListener("click", () => workbench.look({ tilt_deg: 0, tilt_azimuth_deg: 0 }));

// --- the bar above ------------------------------------------------------------------------------------------------------

buildPanels(workbench, $("tabs"), $("panels"));
buildFiles(workbench, complain);
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

function theme(word) {
  document.documentElement.dataset.theme = word;
  solid.draw();
}
try { $("theme").value = localStorage.getItem("raylab-theme") ?? "auto"; } catch { $("theme").value = "auto"; }
theme($("theme").value);
$("theme").addEventListener("change", () => {
  theme($("theme").value);
  try { localStorage.setItem("raylab-theme", $("theme").value); } catch { /* the choice then lasts as long as the page */ }
});
matchMedia("(prefers-color-scheme: dark)").addEventListener("change", () => solid.draw());
for (const button of document.querySelectorAll("[data-sight]")) button.addEventListener("click", () => solid.look(button.dataset.sight));

// --- showing ------------------------------------------------------------------------------------------------------------

function showControls() {
  const { state } = workbench;
  showPanels(workbench);
  views[0].show(state.tilt_deg);
  views[1].show(state.tilt_azimuth_deg);
  $("dome").value = state.dome;
  $("dome-note").textContent = start.domes.find(({ name }) => name === state.dome)?.description ?? "";
  $("title").textContent = $("title").title = state.titles[state.editing] || workbench.design.name || "";
  document.querySelector("main").classList.toggle("pair", workbench.sides.length > 1);
  $("undo").disabled = !workbench.past.length;
  $("redo").disabled = !workbench.future.length;
  const pair = workbench.sides.length > 1;
  $("compare").ariaPressed = String(pair);
  $("editing").hidden = !pair;
  for (const side of ["a", "b"]) $(`edit-${side}`).ariaPressed = String(state.editing === side);
  showFacet();
}

/** What is known of the chosen facet. */
function showFacet() {
  const shape = workbench.shapes[workbench.state.editing];
  const f = shape?.facets.findIndex((row) => facetName(row) === workbench.state.facet) ?? -1;
  const card = $("facet-card");
  if (f < 0) {
    card.replaceChildren(el("p", { className: "note" }, "Drag to turn the stone. Click a facet: the maps light up wherever its light passes."));
    return;
  }
  const row = shape.facets[f];
  const leaks = workbench.answers[workbench.state.editing]?.arrays.leaks?.[f];
  const clear = el("button", { type: "button" }, "Let go");
  clear.addEventListener("click", () => workbench.look({ facet: null }));
  card.replaceChildren(
    el("div", { className: "row" }, el("h3", {}, facetName(row)), clear),
    el("p", {}, `slope ${tidy(row[SLOPE], 3)}°, azimuth ${tidy(row[AZIMUTH], 3)}°, ${tidy(row[DISTANCE], 4)} mm from the centre, ${tidy(shape.areas_mm2[f], 3)} mm²`),
    el("p", {}, leaks === undefined ? "" : `${fixed(100 * leaks, 2)} % of what the eye sees is leakage through this facet.`),
    el("p", { className: "note" }, "The maps are bright where the light they show meets this facet, the fainter the less of it is left by then."),
  );
}

/** The followed ray: every hit where light leaves, and between them the facets that reflect all of it. */
function showPath(path) {
  const card = $("path-card");
  card.hidden = !path;
  if (!path) return;
  const where = { sky: "to the sky", head: "to the observer's head", leak: "leaks below the girdle plane", scattered: "scattered" };
  const lines = [];
  let inside = [];
  const reflected = () => {
    if (!inside.length) return;
    const named = inside.length > MOST_NAMED ? [...inside.slice(0, MOST_NAMED), `${inside.length - MOST_NAMED} more`] : inside;
    lines.push(el("li", { className: "quiet" }, `all reflected at ${named.join(", ")}`));
    inside = [];
  };
  path.hits.forEach((hit, k) => {
    if (k && hit.weight < 5e-4) return void inside.push(hit.name);
    reflected();
    const verb = k || hit.fate === "scattered" ? "" : "reflects ";
    lines.push(el("li", {}, el("strong", {}, hit.name), `: ${verb}${fixed(100 * hit.weight, 1)} % ${where[hit.fate] ?? ""}`));
  });
  if (inside.length > MOST_NAMED) lines.push(el("li", { className: "quiet" }, `${inside.length} more reflections`));
  else reflected();
  const rest = `Left inside at the end: ${fixed(100 * path.untraced, 1)} %` + (path.absorbed > 5e-4 ? `; absorbed: ${fixed(100 * path.absorbed, 1)} %` : "");
  const drawn = path.hits.length > MOST_RUNS ? ` The drawing shows the first ${MOST_RUNS} hits.` : "";
  const clear = el("button", { type: "button" }, "Let go");
  clear.addEventListener("click", () => workbench.dropPath());
  card.replaceChildren(
    el("div", { className: "row" }, el("h3", {}, "Light followed back from the eye"), clear),
    ...(lines.length ? [el("ul", {}, ...lines), el("p", { className: "note" }, `${rest}.${drawn}`)] : [el("p", {}, "This point lies beside the stone.")]),
  );
}

const STATES = {
  cut: "Link cut; trying again…",
  busy: "working…",
  slow: "working… (the first start on a machine compiles, once)",
  fault: "last possible stone shown",
  exact: "exact",
};
let late = 0;

/** Say how things stand, in words and for those who wait for it. */
function showState(word) {
  clearTimeout(late);
  $("state").textContent = STATES[word];
  $("state").classList.toggle("cut", word === "cut");
  document.documentElement.dataset.state = word;
  if (word === "busy") late = setTimeout(() => { $("state").textContent = STATES.slow; }, PATIENCE_MS);
}

function drawAll() {
  maps.draw();
  numbers.draw();
  solid.take();
}

workbench.addEventListener("change", () => { showControls(); if (maps.arrange()) drawAll(); });
workbench.addEventListener("rest", showControls);
workbench.addEventListener("problem", ({ detail }) => complain(detail, "answer"));
workbench.addEventListener("path", ({ detail }) => { showPath(detail); maps.draw(); solid.draw(); });
workbench.addEventListener("answer", ({ detail: { side } }) => {
  if (!workbench.faulty.size && $("problem").dataset.from === "answer") complain(null);
  showControls();
  drawAll();
  document.documentElement.dataset[`shown${side.toUpperCase()}`] = workbench.shown[side];
});
workbench.addEventListener("asked", ({ detail: { side, id } }) => { document.documentElement.dataset[`asked${side.toUpperCase()}`] = id; });
workbench.addEventListener("link", ({ detail }) => { workbench.cut = detail === "cut"; showState(workbench.cut ? "cut" : "busy"); });
workbench.addEventListener("status", ({ detail }) => { if (!workbench.cut) showState(detail); });
maps.arrange();
showControls();
