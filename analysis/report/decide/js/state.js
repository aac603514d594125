// The state in the address: both recipes, the view and its importances, after the sign #.

const LACKS = "x";

function writeRow(row) {
  return row.map((x) => (Number.isNaN(x) ? LACKS : String(x))).join("_");
}

function readRow(data, text) {
  const parts = text.split("_").map((part) => (part === LACKS ? NaN : Number(part)));
  const fits =
    parts.length === data.axes.length &&
    parts.every((x, j) => {
      const levels = data.axes[j].kind === "choice" ? data.axes[j].levels.length : 0;
      return levels === 0 || (Number.isInteger(x) && x >= 0 && x < levels);
    });
  return fits ? parts : null;
}

/** A short mark of the inputs that a state belongs to. */
function markOf(data) {
  return Object.values(data.hashes)
    .join("")
    .slice(0, 40)
    .replace(/[^0-9a-z]/gi, "")
    .slice(-8);
}

/** Write a state as the part of an address after #. */
function writeState(data, state) {
  const parts = new URLSearchParams();
  parts.set("a", writeRow(state.A));
  if (state.B) parts.set("b", writeRow(state.B));
  if (state.role !== null) parts.set("view", state.role);
  if (state.role === OWN)
    parts.set(
      "w",
      aimedOf(data)
        .map((one) => state.importances[one.name])
        .join("_"),
    );
  if (state.within) parts.set("within", "1");
  parts.set("of", markOf(data));
  return parts.toString();
}

/** Read a state back; what does not fit is left as it was and said. */
function readState(data, text, standing) {
  const parts = new URLSearchParams(text.replace(/^#/, ""));
  const state = { ...standing };
  const said = [];
  for (const [key, letter] of [
    ["a", "A"],
    ["b", "B"],
  ]) {
    if (!parts.has(key)) continue;
    const row = readRow(data, parts.get(key));
    const taken = row && (isAllowed(data, row) ? row : broughtIn(data, row));
    if (taken) state[letter] = taken;
    if (!taken || taken.some((x, j) => x !== row[j] && !Number.isNaN(x))) {
      said.push(`Recipe ${letter} of the address is not allowed by the brief as it stands`);
    }
  }
  const role = parts.get("view");
  if (role === OWN || data.views.some((view) => view.role === role)) state.role = role;
  state.importances = importancesOf(data, state.role);
  const weights = (parts.get("w") ?? "").split("_").map(Number);
  if (role === OWN && weights.length === aimedOf(data).length && weights.every((w) => w >= 0)) {
    state.importances = Object.fromEntries(aimedOf(data).map((one, i) => [one.name, weights[i]]));
  }
  state.within = parts.get("within") === "1";
  if (parts.has("of") && parts.get("of") !== markOf(data)) {
    said.push("The address was saved from other results of this study");
  }
  return { state, said };
}

// The view of whoever sets importances on the page.
const OWN = "own";

function aimedOf(data) {
  return data.responses.filter((one) => one.aim);
}

/** The importances of a role, or of the brief where the role is null. */
function importancesOf(data, role) {
  const view = data.views.find((one) => one.role === role);
  return Object.fromEntries(
    aimedOf(data).map((one) => [one.name, view?.importance[one.name] ?? one.aim.importance]),
  );
}
