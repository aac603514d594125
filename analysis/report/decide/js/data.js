// The data of the page: one JSON value, its missing numbers read as NaN.

// Numbers that may be missing and stand alone; in lists every null is a missing number.
const MAY_BE_MISSING = new Set(["newRun", "residual", "mean", "error"]);

/** Read the page's data from its text. */
function readData(text) {
  return JSON.parse(text, function reviveNumber(key, value) {
    return value === null && (Array.isArray(this) || MAY_BE_MISSING.has(key)) ? NaN : value;
  });
}
