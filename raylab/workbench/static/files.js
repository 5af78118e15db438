// Files: open a stone, save a design, and the report on two stones.

import { el } from "./controls.js";
import { addDome, ownDome } from "./domes.js";
import { buildPaste } from "./paste.js";

const NAMES = { toml: "TOML", csv: "CSV", stl: "STL" };
const SPOKEN = { toml: "Save the scene as TOML", csv: "Save the facet table as CSV", stl: "Save the mesh as STL, in mm" };

export function buildFiles(workbench, complain) {
  const file = document.getElementById("file");
  const unit = document.getElementById("unit");
  const save = document.getElementById("save");
  file.accept = workbench.start.readable.join();
  unit.parentElement.hidden = !workbench.start.readable.includes(".stl"); // only meshes may lack a unit
  unit.append(...["", ...workbench.start.units].map((name) => el("option", { value: name }, name || "not stated")));
  document.getElementById("open").addEventListener("click", () => file.click());
  file.addEventListener("change", async () => {
    const [chosen] = file.files;
    file.value = "";
    if (chosen) complain(await open(workbench, chosen, unit.value));
  });
  addEventListener("dragover", (event) => event.preventDefault());
  addEventListener("drop", async (event) => {
    event.preventDefault();
    const [dropped] = event.dataTransfer.files;
    if (dropped) complain(await open(workbench, dropped, unit.value));
  });
  workbench.addEventListener("noise", async ({ detail: { file: name, noise, done } }) => {
    complain(await openAgain(workbench, name, noise));
    done();
  });
  buildPaste(document.getElementById("paste"), (pasted) => open(workbench, pasted, unit.value), complain);
  save.append(...workbench.start.saved.map((kind) => {
    const button = el("button", { type: "button", title: SPOKEN[kind], ariaLabel: SPOKEN[kind] }, NAMES[kind] ?? kind);
    button.addEventListener("click", () => keep(workbench, kind, complain));
    return button;
  }));
  const button = document.getElementById("report");
  let wanted = null; // aborts the report in progress
  button.addEventListener("click", async () => {
    if (wanted) return wanted.abort();
    if (workbench.sides.length < 2) return complain({ text: "The report compares two stones. Add a second stone first." });
    complain(null);
    wanted = new AbortController();
    button.textContent = "Stop report";
    await report(workbench, complain, wanted.signal);
    wanted = null;
    button.textContent = "Report";
    return undefined;
  });
}

/** Meshes that were opened here, by name: the file and its unit. */
const MESHES = new Map();

/** Read a mesh again with the noise that the user states, in um; an empty text has it estimated. Returns the error, or null. */
async function openAgain(workbench, name, noise) {
  const { file, unit } = MESHES.get(name) ?? {};
  const text = `The page holds no copy of ${name}. Open it here first, or start raylab workbench with --noise-um.`;
  return file ? open(workbench, file, unit, noise) : { text };
}

/** Open a stone, a dome or a sweep; returns the error that kept it from being opened, or null. */
async function open(workbench, file, unit, noise = "") {
  const most = workbench.start.max_bytes;
  if (file.size > most) return { text: `${file.name}: file too large (${file.size} bytes); expected at most ${most} bytes` };
  let error = null;
  const found = await post(`open?${new URLSearchParams({ name: file.name, unit, noise_um: noise })}`, file, (refusal) => { error = refusal; });
  if (!found) return error;
  const { design, title, dome, surrogate } = await found.json();
  if (design?.scan) MESHES.set(design.scan.file, { file, unit });
  if (surrogate) workbench.notify("surrogate", surrogate);
  else if (dome) addDome(workbench, dome);
  else take(workbench, design, title);
  return null;
}

/** An opened stone takes the place of the edited one. */
function take(workbench, design, title) {
  const { editing, opened, titles } = workbench.state;
  workbench.replace({ [editing]: design }, { facet: null, opened: { ...opened, [editing]: design }, titles: { ...titles, [editing]: title } });
}

async function keep(workbench, kind, complain) {
  const { editing, titles } = workbench.state;
  const body = JSON.stringify({ ...workbench.scene(editing), title: titles[editing] });
  const found = await post(`save/${kind}`, body, complain);
  if (!found) return;
  const name = /filename="([^"]+)"/.exec(found.headers.get("content-disposition"))?.[1] ?? `stone.${kind}`;
  download(name, await found.blob());
  const alone = kind !== "toml" && workbench.shapes[editing]?.inclusions.length;
  if (alone) complain({ text: `${name} holds the stone without its inclusions, which the scene file (TOML) states.` });
}

/** Offer a file to the browser for download. */
function download(name, blob) {
  const address = URL.createObjectURL(blob);
  el("a", { href: address, download: name }).click();
  setTimeout(() => URL.revokeObjectURL(address), 10_000);
}

/** Request the report; it takes about a minute, and the page stays usable meanwhile. */
async function report(workbench, complain, signal) {
  const { designs, titles, dome, tilt_azimuth_deg } = workbench.state;
  const share = document.getElementById("report-share");
  const request = { designs: workbench.sides.map((side) => designs[side]), dome, own_dome: ownDome(workbench.state), tilt_azimuth_deg };
  if (titles.a !== titles.b) request.title = workbench.sides.map((side) => titles[side]).join(" and ");
  share.hidden = false;
  share.value = 0;
  try {
    const found = await post("report", JSON.stringify(request), complain, signal);
    for await (const line of found ? lines(found.body) : []) {
      if (line.error) complain(line.error);
      else if (line.html) download(line.name, new Blob([line.html], { type: "text/html" }));
      else share.value = line.share;
    }
  } catch (error) {
    if (!signal.aborted) complain({ text: `The report stopped (${error.message}); check that raylab is running.` });
  }
  share.hidden = true;
}

/** The lines of JSON in a stream. */
export async function* lines(stream) {
  const reader = stream.pipeThrough(new TextDecoderStream()).getReader();
  let rest = "";
  for (let part = await reader.read(); !part.done; part = await reader.read()) {
    const whole = (rest + part.value).split("\n");
    rest = whole.pop();
    yield* whole.map((line) => JSON.parse(line));
  }
}

/** A successful response; null after an error message. */
async function post(address, body, complain, signal) {
  let found;
  try {
    found = await fetch(address, { method: "POST", body, signal });
  } catch (error) {
    if (signal?.aborted) throw error;
    complain({ text: "no answer from raylab; check that it is running" });
    return null;
  }
  if (found.ok) return found;
  const refusal = await found.json().catch(() => ({ error: { text: `raylab refused the request (${found.status})` } }));
  complain(refusal.error);
  return null;
}
