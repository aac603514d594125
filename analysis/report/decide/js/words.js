// Words and digits: two significant digits of the error decide the last printed place (GUM 7.2.6).

const MISSING = "–";
const MINUS = "−";
const SPACE = "\u00a0";

/** The decimal place that two significant digits of an error reach; null without an error. */
function placesFor(error) {
  if (!Number.isFinite(error) || error <= 0) return null;
  return 1 - Math.floor(Math.log10(Number(error.toExponential(1))) + 1e-12);
}

/** Print to a fixed place, tens and hundreds included, without a negative zero. */
function fixedText(value, places) {
  if (!Number.isFinite(value)) return MISSING;
  const power = 10 ** -places;
  const text = places < 0 ? String(Math.round(value / power) * power) : value.toFixed(places);
  return Number(text) === 0 ? text.replace("-", "") : text.replace("-", MINUS);
}

/** Print a number that has no error beside it: four digits, no idle zeros. */
function plainText(value) {
  if (!Number.isFinite(value)) return MISSING;
  if (value === 0) return "0";
  const places = Math.max(3 - Math.floor(Math.log10(Math.abs(value))), 0);
  return String(Number(value.toFixed(Math.min(places, 12)))).replace("-", MINUS);
}

/** Print as far as the error carries. */
function withError(value, error) {
  const places = placesFor(error);
  return places === null ? plainText(value) : fixedText(value, Math.min(places, 8));
}

/** A quarter of an interval's width stands for the standard error, to choose digits only. */
function errorOf(interval) {
  return (interval[1] - interval[0]) / 4;
}

function intervalText(interval, error) {
  if (interval[0] === interval[1]) return "no error";
  return `${withError(interval[0], error)} to ${withError(interval[1], error)}`;
}

/** Print a chance as per cent; never a certainty that is none. */
function chanceText(chance) {
  if (!Number.isFinite(chance)) return MISSING;
  if (chance === 0 || chance === 1) return `${100 * chance}${SPACE}%`;
  if (chance > 0.99) return `over 99${SPACE}%`;
  if (chance < 0.01) return `under 1${SPACE}%`;
  return `${Math.round(100 * chance)}${SPACE}%`;
}

/** Print grams as a balance for that load would show them, as on the bench cards. */
function gramsText(grams) {
  if (!Number.isFinite(grams)) return MISSING;
  return grams.toFixed(grams < 9.9995 ? 3 : grams < 99.995 ? 2 : 1);
}

/** How many decimals a setting shows: those of its step. */
function decimalsOf(data, row, j) {
  const axis = data.axes[j];
  if (axis.step !== null && axis.step !== undefined) {
    const text = String(axis.step);
    return text.includes(".") ? text.split(".")[1].length : 0;
  }
  if (axis.marks?.length) return null;
  const ends = endsOf(data, row, j);
  return ends === null ? null : Math.max(0, 3 - Math.ceil(Math.log10(ends[1] - ends[0] || 1)));
}

/** Print a setting of a row, without its unit. */
function settingText(data, row, j, value = row[j]) {
  const axis = data.axes[j];
  if (axis.kind === "choice") return axis.levels[value] ?? MISSING;
  if (Number.isNaN(value)) return "left out";
  const places = decimalsOf(data, row, j);
  if (places === null) return String(value).replace("-", MINUS);
  // What lies between steps, such as a high end, keeps its digits.
  const rounded = value.toFixed(places);
  const off = Math.abs(Number(rounded) - value) > 1e-9 * Math.max(1, Math.abs(value));
  const text = axis.step && off ? String(cleaned(value)) : rounded;
  return text.replace("-", MINUS);
}

function withUnit(text, unit) {
  return unit ? `${text}${SPACE}${unit}` : text;
}

function named(name, unit) {
  return unit ? `${name} (${unit})` : name;
}

/** Say what one response is expected to be, for the ear. */
function spokenResponse(response, told) {
  const value = withUnit(withError(told.value, errorOf(told.run)), response.unit);
  if (!response.limits.length) return `${response.name} ${value}`;
  const met = response.limits.every((limit) => isMet(limit, told.value));
  const chance = chanceText(told.chance);
  return `${response.name} ${value}, limit ${met ? "met" : "not met"}, chance ${chance}`;
}
