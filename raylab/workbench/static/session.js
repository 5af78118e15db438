// What this tab had before a reload: its state, as long as raylab and the stone it opened with are the same.

const KEPT = "raylab-workbench";

/** The state that was kept, or null. */
export function kept({ version, design }) {
  try {
    const found = JSON.parse(sessionStorage.getItem(KEPT));
    return found && found.version === version && JSON.stringify(found.opening) === JSON.stringify(design) ? found.state : null;
  } catch {
    return null; // storage switched off, or something else's: start afresh
  }
}

export function keep({ version, design }, state) {
  try {
    sessionStorage.setItem(KEPT, JSON.stringify({ version, opening: design, state }));
  } catch {
    // a full or forbidden storage costs only what a reload would have brought back
  }
}
