// Terms: settings to coded settings to the row of the model matrix, and averages over production.

/** Middle and half of the range of a numeric setting at a row, on its own scale; null if absent. */
function rangeOf(axis, row) {
  if (axis.rangedBy === null) return [axis.low, axis.high];
  return axis.ranges[row[axis.rangedBy]] || null;
}

/** Middle and half of a range on the scale of its setting. */
function middleAndHalf(axis, ends) {
  const [low, high] = axis.log ? ends.map(Math.log) : ends;
  const half = (high - low) / 2;
  return [(low + high) / 2, half > 0 ? half : 1];
}

/** Code one numeric setting −1 to 1 over its range at the row; NaN where the level lacks it. */
function coded(axis, x, row) {
  const ends = rangeOf(axis, row);
  if (ends === null) return NaN;
  const [middle, half] = middleAndHalf(axis, ends);
  return ((axis.log ? Math.log(x) : x) - middle) / half;
}

const plans = new WeakMap();

/** Make a response's model ready: what codes each setting, and the columns as flat lists. */
function planOf(data, response) {
  const known = plans.get(response);
  if (known) return known;
  const settings = response.numeric.map((j) => {
    const axis = data.axes[j];
    if (axis.kind === "share") return { j, share: true };
    if (response.bend?.axis === j) return { j, share: false, bend: response.bend };
    const ranged = axis.rangedBy !== null;
    const ranges = (ranged ? axis.ranges : [[axis.low, axis.high]]).map(
      (ends) => ends && middleAndHalf(axis, ends),
    );
    return { j, share: false, log: axis.log, by: ranged ? axis.rangedBy : -1, ranges };
  });
  const width = Math.max(1, ...response.columns.map((factors) => factors.length));
  const flat = new Int32Array(response.columns.length * width);
  response.columns.forEach((factors, c) => flat.set(factors, c * width));
  const n = 1 + settings.length + response.contrasts.length;
  const plan = { settings, width, flat, features: new Float64Array(n) };
  plans.set(response, plan);
  return plan;
}

/** The features of a response's model at a row: 1, numeric settings, contrasts of choices. */
function featuresOf(plan, response, row) {
  const features = plan.features;
  features[0] = 1;
  let place = 1;
  for (const one of plan.settings) {
    const x = row[one.j];
    const isCoded = !one.share && !one.bend;
    const range = isCoded ? one.ranges[one.by < 0 ? 0 : row[one.by]] : null;
    if (one.share) features[place] = x;
    else if (one.bend) features[place] = bentAt(one.bend, x).value;
    // What a level lacks counts 0.
    else features[place] = range ? ((one.log ? Math.log(x) : x) - range[0]) / range[1] : 0;
    place += 1;
  }
  for (const contrast of response.contrasts) {
    // A level that no run has, and an open one, leave the value open.
    features[place] = contrast.byLevel[row[contrast.axis]] ?? NaN;
    place += 1;
  }
  return features;
}

/** The row of the model matrix, one number a column; the shape parameters of a form come last. */
function modelRow(data, response, row) {
  const own = termsRow(data, response, row);
  const bend = response.bend;
  if (!bend?.weights.length) return own;
  // ∂(row · b)/∂s = Σ b_c · (column c without the factor) · ∂u/∂s.
  const pull = dot(termsRow(data, bend.rest, row), bend.weights);
  return Float64Array.from([...own, ...bentAt(bend, row[bend.axis]).byShape.map((u) => pull * u)]);
}

function termsRow(data, response, row) {
  const plan = planOf(data, response);
  const features = featuresOf(plan, response, row);
  const out = new Float64Array(response.columns.length);
  for (let c = 0, i = 0; c < out.length; c += 1) {
    let product = 1;
    for (let k = 0; k < plan.width; k += 1, i += 1) product *= features[plan.flat[i]];
    out[c] = product;
  }
  for (const [column, factors] of response.less) {
    out[column] -= factors.reduce((so, i) => so * features[i], 1);
  }
  return out;
}

/** Put a row at every point of production: what drifts moves, what a level lacks stays lacking. */
function spreadRows(data, row) {
  const { columns, points } = data.production;
  if (!columns.length) return [row];
  return points.map((point) => {
    const moved = row.slice();
    columns.forEach((j, i) => {
      if (!Number.isNaN(row[j])) moved[j] = point[i];
    });
    return moved;
  });
}

function dot(a, b) {
  let sum = 0;
  for (let i = 0; i < a.length; i += 1) sum += a[i] * b[i];
  return sum;
}

/** x' M x. */
function quadratic(M, x) {
  let sum = 0;
  for (let i = 0; i < x.length; i += 1) if (x[i] !== 0) sum += x[i] * dot(M[i], x);
  return sum;
}

/** What a computed response is at one row; NaN where no recipe can be made. */
function computedValue(response, row) {
  const level = response.choice === null ? 0 : row[response.choice];
  let dose = response.dose === null ? response.heldDose : row[response.dose];
  if (Number.isNaN(dose) && response.mayLack) dose = 0;
  const q = response.top[level].length - 1;
  const shares = response.shares.length
    ? response.shares.map((j) => row[j] || 0)
    : Array(q).fill(1);
  const sum = (table) => table[0] + shares.reduce((so, s, i) => so + table[i + 1] * (dose * s), 0);
  const top = sum(response.top[level]);
  const bottom = sum(response.bottom[level]);
  if (Number.isNaN(dose) || !(sum(response.balance[level]) >= -1e-9) || !(bottom > 0)) return NaN;
  return top / bottom;
}

/** Predict the value alone, averaged over production; what searches ask for. */
function valueAt(data, response, row) {
  if (!data.production.columns.length) return singleValue(data, response, row);
  const weights = data.production.weights;
  const spread = spreadRows(data, row);
  return spread.reduce((sum, one, i) => sum + weights[i] * singleValue(data, response, one), 0);
}

function singleValue(data, response, row) {
  if (response.kind === "computed") return computedValue(response, row);
  return fromScale(response.scale, dot(modelRow(data, response, row), response.b));
}
