// The state of this tab across a reload, valid for the same raylab version and the same opened stone.

const KEPT = "raylab-workbench";

/** The kept state, or null. */
export function kept({ version, design }) {
  try {
    const found = JSON.parse(sessionStorage.getItem(KEPT));
    return found && found.version === version && JSON.stringify(found.opening) === JSON.stringify(design) ? found.state : null;
  } catch {
    return null; // no storage, or not our data: start with the opened stone
  }
}

export function keep({ version, design }, state) {
  try {
    sessionStorage.setItem(KEPT, JSON.stringify({ version, opening: design, state }));
  } catch {
    // without storage a reload returns to the opened stone
  }
}
