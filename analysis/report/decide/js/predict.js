// Predictions: value, where the true value lies, where one new run lies, chance to meet the limits.

/** What a value hangs on, averaged over production: slopes along the coefficients, and its place. */
function averagedRow(data, response, row) {
  const weights = data.production.weights;
  const spread = spreadRows(data, row).map((one) => modelRow(data, response, one));
  if (!data.production.columns.length) {
    return { x: spread[0], centre: dot(spread[0], response.b) };
  }
  const values = spread.map((one) => fromScale(response.scale, dot(one, response.b)));
  const mean = dot(weights, values);
  // Weights dy/dz at the points over dy/dz at the mean: to first order on a transformed scale.
  const steep = Math.exp(logSlope(response.scale, mean));
  const pulls = values.map((y, i) => weights[i] * Math.exp(-logSlope(response.scale, y)) * steep);
  const x = spread[0].map((_, c) => spread.reduce((sum, one, i) => sum + pulls[i] * one[c], 0));
  return { x, centre: toScale(response.scale, mean) };
}

/** Degrees of freedom of x'b and of one new run (Kenward and Roger 1997; Satterthwaite 1946). */
function degreesOf(response, x, meanVariance) {
  const df = response.df;
  const total = meanVariance + response.newRun;
  if (df.by === "strata") {
    const variance = quadratic(df.unadjusted, x);
    const slopes = df.slopes.map((slope) => quadratic(slope, x));
    const spread = quadratic(df.W, slopes);
    const runVariance = variance + response.newRun;
    const runSpread = quadratic(
      df.W,
      slopes.map((slope, k) => slope + df.weights[k]),
    );
    let ofMean = (2 * variance ** 2) / spread;
    if (spread <= 1e-24 * variance ** 2) ofMean = Infinity;
    if (!(variance > 0) || Number.isNaN(spread)) ofMean = NaN;
    const ofRun = (2 * runVariance ** 2) / runSpread;
    return { ofMean, ofRun: Number.isFinite(ofRun) ? ofRun : NaN };
  }
  const ofMean = df.by === "residual" ? df.residual : harmonic(response, x);
  if (df.components.length === 1) return { ofMean, ofRun: df.residual };
  let spread = meanVariance ** 2 / ofMean;
  for (const [variance, own] of df.components) if (variance > 0) spread += variance ** 2 / own;
  return { ofMean, ofRun: total ** 2 / spread };
}

/** The harmonic mean of the coefficients' own, weighted by what each adds to the variance. */
function harmonic(response, x) {
  let parts = 0;
  let over = 0;
  x.forEach((xi, i) => {
    const part = Math.abs(xi * dot(response.V[i], x));
    parts += part;
    over += part / response.df.each[i];
  });
  return parts / over;
}

function intervalOf(data, response, centre, variance, df) {
  const t = tQuantile((1 - data.level) / 2, df, data.z);
  const half = t * Math.sqrt(variance);
  let ends = [centre - half, centre + half];
  // Below zero a root stands for no value at all, so an interval wholly there says nothing.
  if (response.scale.name === "square root" && ends[1] <= 0) ends = [NaN, NaN];
  return ends.map((z) => fromScale(response.scale, z));
}

/** The negative binomial of one new count: mean and r, from ln mean and its variance. */
function countLaw(response, centre, variance) {
  const extra = Math.exp(variance) * (1 + response.overdispersion) - 1;
  return { mean: Math.exp(centre + variance / 2), r: 1 / Math.max(extra, 1e-10) };
}

function runIntervalOf(data, response, centre, variance, df) {
  if (response.kind !== "count") return intervalOf(data, response, centre, variance, df);
  const law = countLaw(response, centre, variance);
  const tail = (1 - data.level) / 2;
  return [countQuantile(tail, law.mean, law.r), countQuantile(1 - tail, law.mean, law.r)];
}

/** Predict one response at one row: value, both intervals and the chance to meet its limits. */
function predictAt(data, response, row) {
  if (response.kind === "computed") return predictComputed(data, response, row);
  const { x, centre } = averagedRow(data, response, row);
  const variance = quadratic(response.V, x);
  const runVariance = variance + response.newRun;
  const { ofMean, ofRun } = degreesOf(response, x, variance);
  return {
    value: fromScale(response.scale, centre),
    mean: intervalOf(data, response, centre, variance, ofMean),
    run: runIntervalOf(data, response, centre, runVariance, ofRun),
    chance: chanceOf(data, response, centre, runVariance, ofRun),
  };
}

function predictComputed(data, response, row) {
  const value = valueAt(data, response, row);
  const met = response.limits.every((limit) => isMet(limit, value));
  const chance = response.limits.length ? Number(met) : null;
  return { value, mean: [value, value], run: [value, value], chance };
}

/** Chance that one new run meets every limit of a response; null without limits. */
function chanceOf(data, response, centre, variance, df) {
  if (!response.limits.length) return null;
  const sd = Math.sqrt(variance);
  if (response.kind === "rating") {
    // One rating of a new batch: the chance itself, over what is not known of it.
    const [nodes, weights] = data.normalPoints;
    return nodes.reduce((sum, z, i) => sum + weights[i] / (1 + Math.exp(-(centre + sd * z))), 0);
  }
  let below = 1;
  let under = 0;
  for (const limit of response.limits) {
    if (limit.side > 0) below = chanceBelow(response, limit.limit, centre, variance, df, false);
    else under = chanceBelow(response, limit.limit, centre, variance, df, true);
  }
  return Math.max(0, below - under);
}

function chanceBelow(response, limit, centre, variance, df, strictly) {
  if (response.kind === "count") {
    const law = countLaw(response, centre, variance);
    return countBelow(strictly ? Math.ceil(limit) - 1 : Math.floor(limit), law.mean, law.r);
  }
  return tBelow((limitOnScale(response.scale, limit) - centre) / Math.sqrt(variance), df);
}

/** What is left before a limit, response unit; negative beyond it. */
function marginOf(limit, value) {
  return limit.side * (limit.limit - value);
}

/** A value computed to lie on its limit meets it; NaN does not. */
function isMet(limit, value) {
  return marginOf(limit, value) >= -1e-9 * Math.max(1, Math.abs(limit.limit));
}
